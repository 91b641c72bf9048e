"""Fleet reliability analytics for the people who keep engine-driven equipment alive.

Public names are loaded when first used, so that ``import dutylife`` costs little more than
pandas. Any stage can be called alone on a DataFrame: ``import dutylife as dl``.
"""

import os
import sys
import warnings
from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOME = {
    # the whole job
    "run": "pipeline", "check": "pipeline", "open_run": "provenance",
    # its stages, left to right
    "read_settings": "settings", "settings_from": "settings", "components_of": "components",
    "make_practice": "practice", "read_exports": "intake", "code_lines": "coding",
    "build_lives": "lives", "fit_models": "models", "recommend_intervals": "decisions",
    "plan_visits": "decisions", "plan_stock": "stock",
    # single questions
    "kaplan_meier": "models", "fit_law": "models", "age_replacement": "decisions",
    "inspection_interval": "decisions", "base_stock": "stock", "what_if": "decisions",
    # tables and pictures
    "as_table": "schema", "check_table": "schema", "section": "reports", "plot": "reports",
    "what_if_panel": "reports", "machine_sheet": "reports",
    "DutylifeError": "errors",
}  # fmt: skip
__all__ = sorted(_HOME)


def _words_as_objects() -> None:
    """Have words in tables held as pandas 2 does.

    pandas 3 gives columns of words a type of their own, which does not mix with the one that tables
    are read into. Its option goes with pandas 4, which the package does not allow yet.
    """
    pandas = sys.modules.get("pandas")
    if pandas is None:  # read when it is imported; to import it here would cost half a second
        os.environ.setdefault("PANDAS_FUTURE_INFER_STRING", "0")
    elif int(pandas.__version__.split(".")[0]) > 2:  # noqa: PLR2004
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that the option is to go
            pandas.set_option("future.infer_string", False)


_words_as_objects()


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'dutylife' has no attribute '{name}'")
    value = getattr(import_module(f"dutylife.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
