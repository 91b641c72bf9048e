"""The plain shape: comma, decimal point, day first, one row an invoice line."""

from dutylife.practice.shapes.form import PLAIN
from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import delimited_files


def _files(tables: Tables) -> dict[str, bytes]:
    return delimited_files(PLAIN, tables, machines="machines", parts="parts")


SHAPE = Shape(
    name="lines", about="comma, decimal point, day first, one row an invoice line",
    files=_files, form=PLAIN,
)  # fmt: skip
