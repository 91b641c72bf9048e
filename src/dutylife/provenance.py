"""Where a run's numbers come from: digests, versions, and the run folder read back."""

import hashlib
import json
import platform
from dataclasses import dataclass
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.errors import RunError
from dutylife.schema import as_table
from dutylife.vocabulary import TABLES

# what a number can depend on; all of them stand in run.json
PACKAGES = ("dutylife", "numpy", "pandas", "scipy", "lifelines")
LARGE_BYTES = 20_000_000  # of a table's CSV; a larger one is read from the Parquet made of it


def digest_of(*parts: object, length: int = 16) -> str:
    """Return a short digest of the parts' texts, the same on every machine."""
    text = "\x1f".join(map(str, parts))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:length]


def numbers_of(texts: list[str], *, salt: str = "") -> NDArray[np.uint64]:
    """Digests of many texts as whole numbers of 64 bits; the same text with another salt differs.

    Examples
    --------
    >>> one, two = numbers_of(["a", "a"], salt="x")
    >>> bool(one == two), bool(one == numbers_of(["a"], salt="y")[0])
    (True, False)
    """
    before = f"{salt}\x1f"
    # all as one text is encoded and parted quicker than each, unless one holds the parting sign
    parts = f"\x00{before}".join(texts)
    told = f"{before}{parts}".encode().split(b"\x00")
    if len(told) != len(texts):
        told = [f"{before}{text}".encode() for text in texts]
    digests = b"".join([digest.digest() for digest in map(hashlib.sha256, told)])
    # the first 8 of the 32 bytes of each
    return np.frombuffer(digests, dtype=">u8")[::4].astype("uint64")


def scattered(numbers: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Spread whole numbers of 64 bits: near ones come to lie far apart, no two become the same.

    The finalizer of SplitMix64 (Steele, Lea, Flood: Fast splittable pseudorandom number
    generators, OOPSLA 2014); its constants from memory.
    """
    with np.errstate(over="ignore"):
        mixed = (numbers ^ (numbers >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return mixed ^ (mixed >> np.uint64(31))


def file_digest(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def seed_of(seed: int, *key: object) -> int:
    """Seed of one cell's draws: depends on the run's seed and the cell, never on row order."""
    return int(digest_of(seed, *key), 16) % (2**63)


@cache
def code_digest() -> str:
    """SHA-256 over the package's own files: what its results follow from beside their inputs."""
    package = Path(__file__).parent
    files = sorted(
        path
        for path in package.rglob("*")
        if path.suffix in (".py", ".toml") and "shipped" not in path.parts
    )
    named = [f"{path.relative_to(package).as_posix()} {file_digest(path)}" for path in files]
    return digest_of(*named, length=64)


def versions() -> dict[str, str]:
    """Return the versions that a number can depend on."""
    return {"python": platform.python_version()} | {p: metadata.version(p) for p in PACKAGES}


@dataclass(frozen=True, slots=True)
class Run:
    """A finished (or half-built) run folder, for notebooks and scripts.

    Parameters
    ----------
    folder : Path
        The run's DIR.
    """

    folder: Path

    @property
    def info(self) -> dict[str, Any]:
        """Content of run.json: digests, settings, versions, row accounting, timings."""
        found: dict[str, Any] = json.loads((self.folder / "run.json").read_text(encoding="utf-8"))
        return found

    def has_table(self, name: str) -> bool:
        """Whether the run has a table; one without parts, say, has no shelf."""
        return (self.folder / "tables" / f"{name}.csv").is_file()

    def table(self, name: str) -> pd.DataFrame:
        """Read one table, typed as the vocabulary declares it.

        Raises
        ------
        RunError
            The run has no such table.
        """
        path = self.folder / "tables" / f"{name}.csv"
        if name not in TABLES or not path.is_file():
            have = sorted(p.stem for p in (self.folder / "tables").glob("*.csv"))
            raise RunError(
                f"The run has no table '{name}'.", str(self.folder), "it has: " + ", ".join(have)
            )
        typed = path.with_suffix(".parquet")
        is_large = path.stat().st_size > LARGE_BYTES and typed.is_file()
        # one that was changed by hand since is older than its text, which then counts
        if is_large and typed.stat().st_mtime_ns >= path.stat().st_mtime_ns:
            return as_table(name, _of_parquet(typed))
        text = pd.read_csv(path, dtype=str, keep_default_na=False, na_values={}, encoding="utf-8")
        flags = [c for c, col in TABLES[name].columns.items() if col.kind == "flag" and c in text]
        filled = text.mask(text == "") if len(text) else text
        for flag in flags:
            filled[flag] = text[flag] == "true"
        return as_table(name, filled)


def _of_parquet(path: Path) -> pd.DataFrame:
    """Table of a Parquet file; words as categories, so that each is held once."""
    from pyarrow import parquet, types

    schema = parquet.read_schema(path)
    words = [f.name for f in schema if types.is_string(f.type)]
    table = parquet.read_table(path, read_dictionary=words, use_threads=False)
    frame: pd.DataFrame = table.to_pandas(date_as_object=False, use_threads=False)
    return frame


def open_run(folder: str | Path) -> Run:
    """Open a run folder.

    Raises
    ------
    RunError
        The folder holds no tables.
    """
    path = Path(folder)
    if not (path / "tables").is_dir():
        raise RunError("This folder holds no run.", str(path), "give the DIR a run was written to")
    return Run(path)


def shipped_folder(name: str) -> Path:
    """Folder that travels with the package: ``notebooks`` or ``data_demo``.

    In an installed wheel it lies inside the package, in a checkout beside ``src``.

    Raises
    ------
    RunError
        It is in neither place.
    """
    package = Path(__file__).parent
    for place in (package / "shipped" / name, package.parents[1] / name):
        if place.is_dir():
            return place
    raise RunError(
        f"The folder '{name}' did not come with this installation.", str(package),
        "install dutylife again from a complete checkout",
    )  # fmt: skip
