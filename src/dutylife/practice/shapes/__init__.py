"""Forms in which one practice fleet can be exported; each is a module here that names a SHAPE."""

from importlib import import_module
from pkgutil import iter_modules

from dutylife.practice.shapes.form import PLAIN, Form
from dutylife.practice.shapes.shape import Shape, Tables

__all__ = ["PLAIN", "SHAPES", "Form", "Shape", "Tables"]


def _all_shapes() -> dict[str, Shape]:
    modules = [import_module(f"{__name__}.{found.name}") for found in iter_modules(__path__)]
    shapes = [module.SHAPE for module in modules if hasattr(module, "SHAPE")]
    return {shape.name: shape for shape in sorted(shapes, key=lambda s: (s.form is None, s.name))}


# every shape there is, by name; those with a settings file written by hand come first
SHAPES: dict[str, Shape] = _all_shapes()
