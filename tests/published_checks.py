"""Published cases: read from a folder's published.toml, held within each case's own tolerance."""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

Check = dict[str, Any]


def checks_of(folder: Path) -> dict[str, Check]:
    """Cases of a folder by their id."""
    text = (folder / "published.toml").read_text(encoding="utf-8")
    return {c["id"]: c for c in tomllib.loads(text)["check"]}


def data_of(folder: Path, check: Check) -> pd.DataFrame:
    """Ages behind a case."""
    return pd.read_csv(folder / "data" / check["data"])


def assert_near(check: Check, name: str, found: object) -> None:
    """One figure of a case is reproduced."""
    np.testing.assert_allclose(
        found, check["expect"][name], rtol=check["rtol"], atol=check["atol"],
        err_msg=f"{check['id']}: {name}",
    )  # fmt: skip


def assert_all_near(check: Check, **found: object) -> None:
    """Several figures of a case are reproduced, each under its own name."""
    for name, value in found.items():
        assert_near(check, name, value)
