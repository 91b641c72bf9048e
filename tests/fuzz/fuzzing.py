"""What a generated input must give: an answer with every row accounted for, or a told error."""

import hashlib
import signal
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import inputs
import pandas as pd
import seeds
from hypothesis import HealthCheck, Phase, given, settings

from dutylife.coding import code_lines
from dutylife.errors import DutylifeError
from dutylife.intake import account, read_exports
from dutylife.intake.layout import lay_out
from dutylife.intake.readers import read_sheets
from dutylife.pipeline.reading import given_settings
from dutylife.pipeline.work import Work
from dutylife.schema import as_table, empty_table
from dutylife.settings import Export, read_settings, settings_from

TEXTS_AT_ONCE = 500
TELL_EVERY = 5000
_SECONDS = 30


@dataclass
class Tally:
    """Inputs seen, what became of them, and the smallest input of each kind of crash."""

    seen: Counter[str] = field(default_factory=Counter)
    crashes: dict[str, tuple[str, bytes, str]] = field(default_factory=dict)
    told: int = 0

    def hold(self, kind: str, name: str, data: bytes, go: Callable[[], int]) -> None:
        """Run one input; count it; keep it where it is neither read nor refused in our words."""
        try:
            with _time_limit():
                n = go()
            self.seen[f"{kind}: read"] += n
        except DutylifeError as error:
            self.seen[f"{kind}: refused with its cure"] += 1
            if not (error.what and error.mend):
                self._keep(kind, name, data, f"no cure is told: {error!r}")
        except BaseException as error:  # a panic of a compiled library is no Exception
            if isinstance(error, KeyboardInterrupt):
                raise
            self.seen[f"{kind}: CRASHED"] += 1
            self._keep(kind, name, data, "".join(traceback.format_exception(error)))
        if self.n_inputs - self.told >= TELL_EVERY:
            self.told = self.n_inputs
            print(f"  {self.n_inputs} inputs, {len(self.crashes)} kinds of crash", flush=True)

    def _keep(self, kind: str, name: str, data: bytes, told: str) -> None:
        lines = [t for t in told.splitlines() if "dutylife" in t and "File" in t]
        where = lines[-1].strip() if lines else ""
        sign = f"{kind} {told.strip().splitlines()[-1][:60]} {where}"
        if sign not in self.crashes or len(self.crashes[sign][1]) > len(data):
            self.crashes[sign] = (name, data, told)

    @property
    def n_inputs(self) -> int:
        return sum(self.seen.values())

    def write(self, folder: Path) -> None:
        """Write each crash's smallest input beside how it came about."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, data, told in self.crashes.values():
            stem = hashlib.sha256(data).hexdigest()[:8]
            (folder / f"{stem}_{Path(name).name}").write_bytes(data)
            (folder / f"{stem}.txt").write_text(told, encoding="utf-8")


class _time_limit:
    def __enter__(self) -> None:
        signal.signal(signal.SIGALRM, self._late)
        signal.alarm(_SECONDS)

    def __exit__(self, *_: object) -> None:
        signal.alarm(0)

    @staticmethod
    def _late(*_: object) -> None:
        raise TimeoutError(f"no answer in {_SECONDS} s")


def read_file(folder: Path, name: str, data: bytes) -> int:
    """Every table of a file is laid out; no row of it is lost on the way."""
    path = folder / name
    path.write_bytes(data)
    export = Export.model_validate({"path": name, "columns": seeds.COLUMNS})
    try:
        sheets = read_sheets(path, export, "exports.1")
        for sheet in sheets:
            try:
                raw = lay_out(sheet, export, "exports.1")
            except DutylifeError:
                if len(sheets) == 1:
                    raise
                continue
            below = len(sheet.cells) - raw.header_row if sheet.header else len(raw.cells)
            assert len(raw.cells) == len(raw.source_row) == len(raw.fault), "rows lost"
            assert sheet.header == () or below == len(raw.cells), "rows lost"
    finally:
        path.unlink()
    return 1


def read_whole(folder: Path, name: str, data: bytes) -> int:
    """A file as an export, to typed tables: rows in = rows used + rows set aside."""
    path = folder / name
    path.write_bytes(data)
    try:
        read = read_exports(
            settings_from(
                {"exports": [{"path": name, "columns": seeds.COLUMNS}], "duty": {"all": "kerb"}},
                folder=folder, source="run.toml",
            )
        )  # fmt: skip
        table = account(read)
        rows, used, aside = (int(table[c].sum()) for c in ("n_rows", "n_used", "n_set_aside"))
        assert rows == used + aside, f"rows lost: {rows} != {used} + {aside}"
        assert len(read.tables["set_aside"]) == aside, "set aside without a reason"
    finally:
        path.unlink()
    return 1


def use_settings(folder: Path, make: Callable[[], Any]) -> int:
    """Settings are checked as a run does before it reads a file; then the export is read."""
    given = given_settings(make().model_copy(update={"folder": folder}), None, Work(lambda _: None))
    read = read_exports(given)
    account(read)
    return 1


def code_texts(texts: list[str]) -> int:
    """Texts as complaint, work and description of lines: coded, every line still there."""
    texts = [text.replace("\x00", "") for text in texts]  # reading takes zero bytes out
    n = len(texts)
    lines = as_table(
        "service_lines",
        pd.DataFrame(
            {
                "line_id": [f"{i:05d}" for i in range(n)], "source_file": "a.csv",
                "source_row": range(2, n + 2), "ticket": [f"J{i // 3}" for i in range(n)],
                "service_date": pd.Timestamp("2024-03-01"),
                "unit_id": [f"M{i % 5}" for i in range(n)],
                "line_kind": ["part", "labour", "note"][n % 3], "complaint": texts,
                "work_done": texts[::-1], "description": texts, "quantity": 1.0,
                "part_number": ["IC-1", "", "SP-7"][n % 3],
            }
        ),
    )  # fmt: skip
    units = as_table("units", pd.DataFrame({"unit_id": [f"M{i}" for i in range(5)]}))
    as_read = lines["complaint"].astype("object").tolist()
    made = code_lines(lines, units, empty_table("shelf"), settings_from({}))
    assert len(lines) == n, "lines lost"
    assert (
        lines["complaint"].astype("object").fillna("").tolist()
        == pd.Series(as_read).fillna("").tolist()
    )
    known = set(lines["line_id"].astype(str))
    for name in ("maintenance_events", "readings"):
        ids = made[name]["line_ids" if name == "maintenance_events" else "line_id"].astype(str)
        assert {i for told in ids for i in told.split(";") if i} <= known, "events of no line"
    return n


def run(tally: Tally, sizes: dict[str, int], *, derandomize: bool, seed: int = 0) -> Tally:
    """Generate ``sizes`` inputs of each kind: files, wholes, settings, keys, texts."""
    import hypothesis

    folder = Path(tempfile.mkdtemp())
    plain = folder / "lines.csv"
    texts: list[str] = []

    def whole_file(made: tuple[str, bytes]) -> None:
        tally.hold("whole exports", *made, lambda: read_whole(folder, *made))

    def one_file(made: tuple[str, bytes]) -> None:
        tally.hold("files", *made, lambda: read_file(folder, *made))

    def one_toml(data: bytes) -> None:
        plain.write_bytes(seeds.files()["comma.csv"])
        path = folder / "run.toml"
        path.write_bytes(data)
        tally.hold(
            "settings files",
            "run.toml",
            data,
            lambda: use_settings(folder, lambda: read_settings(path)),
        )

    def one_key(data: dict[str, Any]) -> None:
        plain.write_bytes(seeds.files()["comma.csv"])
        told = repr(data).encode("utf-8", "backslashreplace")
        tally.hold(
            "settings keys",
            "keys.txt",
            told,
            lambda: use_settings(folder, lambda: settings_from(data)),
        )

    def one_text(text: str) -> None:
        texts.append(text)
        if len(texts) == TEXTS_AT_ONCE:
            told = "\x00".join(texts).encode("utf-8", "surrogatepass")
            tally.hold("texts", "texts.txt", told, lambda: code_texts(list(texts)))
            texts.clear()

    jobs = {
        "files": (inputs.broken_files(), one_file), "wholes": (inputs.broken_files(), whole_file),
        "settings": (inputs.broken_settings_texts(), one_toml),
        "keys": (inputs.odd_settings(), one_key), "texts": (inputs.odd_texts(), one_text),
    }  # fmt: skip
    for name, size in sizes.items():
        strategy, act = jobs[name]
        test = settings(
            max_examples=size, derandomize=derandomize, database=None, deadline=None,
            phases=(Phase.generate,), suppress_health_check=list(HealthCheck),
        )(given(strategy)(act))  # fmt: skip
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            (test if derandomize else hypothesis.seed(seed)(test))()
    return tally
