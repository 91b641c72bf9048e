"""A run's folder: built aside and put in place whole, its tables as CSV and Parquet."""

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.disk import (
    RUNS,
    alone_in,
    guarded_column,
    in_our_words,
    put_in_place,
    removed,
    restored,
    write_csv,
)
from dutylife.errors import RunError
from dutylife.schema import as_table
from dutylife.settings import bytes_of
from dutylife.vocabulary import TABLES, Table

MARKER = "run.json"  # a folder with it is a run, and may be replaced by the next one


@contextmanager
def swapped_in(folder: Path) -> Iterator[Path]:
    """Build in FOLDER.new; put it in place in one step when all is done, else leave no trace.

    Parameters
    ----------
    folder : Path
        Absolute.

    Raises
    ------
    RunError
        The folder holds something that is not a run, another run is at work in it, or the disk
        is full or may not be written to.
    """
    new, old = folder.with_name(folder.name + ".new"), folder.with_name(folder.name + ".old")
    with in_our_words(folder), alone_in(folder):
        restored(folder, old)
        if folder.is_file() or (
            folder.is_dir() and any(folder.iterdir()) and not (folder / MARKER).is_file()
        ):
            raise RunError(
                "The output folder holds something that is not a run.", str(folder),
                "give another --out, or empty this folder yourself",
            )  # fmt: skip
        for leftover in (new, old):
            removed(leftover)
        new.mkdir()
        try:
            yield new
            put_in_place(new, folder, old)
        except BaseException:
            removed(new)
            raise


@contextmanager
def claimed(folder: Path) -> Iterator[None]:
    """Hold a run's folder from before its hours of work on, not only while it is put in place.

    Raises
    ------
    RunError
        Another run is at work in it, or nothing may be written there.
    """
    with in_our_words(folder), alone_in(folder):
        yield


def write_tables(tables: dict[str, pd.DataFrame], folder: Path, memory_limit: str = "") -> None:
    """Write each table as CSV and, from that CSV, as Parquet: same values, same bytes each time.

    Dates are ISO, flags true/false, floats 10 significant digits, a missing value is blank. In the
    CSV a text that a spreadsheet would run as a formula has an apostrophe in front.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with quiet_base(memory_limit) as base:
        for name in sorted(tables):
            frame = as_table(name, tables[name])
            path = folder / f"{name}.csv"
            told = _as_text(TABLES[name], frame)
            runs = _guard(TABLES[name], told)
            write_csv(told, path, "%.10g")
            write_parquet(base, name, path, runs)


def quiet_base(memory_limit: str = "") -> Any:
    """A DuckDB of its own on one thread, which looks for no extension on the network.

    Parameters
    ----------
    memory_limit : str
        Of the whole run, such as "8 GiB": DuckDB is given a quarter of it, since the tables stand
        in memory beside it; its own default when empty.
    """
    import duckdb

    quiet: dict[str, str | bool | int | float | list[str]] = {
        "autoinstall_known_extensions": False, "autoload_known_extensions": False, "threads": 1,
    }  # fmt: skip
    if memory_limit:
        quiet["memory_limit"] = f"{bytes_of(memory_limit) // 4}B"
    return duckdb.connect(config=quiet)


def _guard(table: Table, told: pd.DataFrame) -> list[str]:
    """Stop texts that a spreadsheet would run, in place; the columns that have such."""
    runs = []
    for name, col in table.columns.items():
        if name in told and col.kind in ("word", "text") and not col.words:
            column = guarded_column(told[name])
            if column is not None:
                told[name] = column
                runs.append(name)
    return runs


def write_parquet(base: Any, name: str, path: Path, runs: Sequence[str] = ()) -> None:
    """Write a table's CSV as Parquet beside it; columns the CSV lacks are left out.

    Parameters
    ----------
    base : connection
    name : str
    path : Path
        The CSV.
    runs : sequence of str
        Columns whose texts bear apostrophes that are no part of them.
    """
    kinds = {"date": "DATE", "number": "DOUBLE", "count": "BIGINT", "flag": "BOOLEAN"}
    with path.open(encoding="utf-8") as file:
        there = file.readline().rstrip("\n").split(",")
    types = {c: kinds.get(TABLES[name].columns[c].kind, "VARCHAR") for c in there}
    source = base.read_csv(
        str(path), header=True, columns=types, quotechar='"', escapechar='"',
        delimiter=",", parallel=False, max_line_size=8_000_000,
    )  # fmt: skip
    if runs:
        pattern = f"^''({RUNS})".replace("('*", "(''*")
        source = source.project(
            ", ".join(
                f"""regexp_replace("{c}", '{pattern}', '\\1') AS "{c}\"""" if c in runs
                else f'"{c}"'
                for c in there
            )
        )  # fmt: skip
    source.write_parquet(str(path.with_suffix(".parquet")), compression="zstd")


def write_exact(
    base: Any, name: str, frame: pd.DataFrame, folder: Path, columns: tuple[str, ...] = ()
) -> None:
    """Write one table as Parquet alone, every float to its last bit.

    Parameters
    ----------
    base : connection
        As `quiet_base` gives it.
    name : str
        Table of the vocabulary; also the file's name.
    frame : DataFrame
    folder : Path
    columns : tuple of str
        Columns to keep; all when empty.
    """
    typed = _as_text(TABLES[name], as_table(name, frame))
    path = folder / f"{name}.csv"
    kept = typed[list(columns)] if columns else typed
    write_csv(kept, path, "%.17g")
    write_parquet(base, name, path)
    path.unlink()


def _as_text(table: Table, frame: pd.DataFrame) -> pd.DataFrame:
    out = frame.copy(deep=False)
    for name, col in table.columns.items():
        if col.kind == "date":
            # each day is told once, however many rows have it
            codes, days = pd.factorize(frame[name])
            out[name] = _words_of(codes, pd.DatetimeIndex(days).strftime("%Y-%m-%d"), frame.index)
        elif col.kind == "flag":
            out[name] = _words_of(
                frame[name].to_numpy(dtype="int8"), pd.Index(["false", "true"]), frame.index
            )
    return out


def _words_of(codes: Any, words: pd.Index, index: pd.Index) -> pd.Series:
    return pd.Series(pd.Categorical.from_codes(codes, words), index=index)


def write_info(info: dict[str, Any], folder: Path) -> None:
    """Write what the run was made of; the file that marks a folder as a run."""
    text = json.dumps(info, indent=1, sort_keys=True, ensure_ascii=False, default=str)
    (folder / MARKER).write_text(text + "\n", encoding="utf-8")
