"""Bad input: one message with file, row or key, what is wrong, how to mend it; nothing left."""

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from dutylife.cli import main

LINES = "job,date,machine,part,text,qty,price,complaint\n" + "".join(
    f"J{i},2024-{1 + i % 12:02d}-{1 + i % 27:02d},M{i % 4},IC-1,renewed ignition cap,1,9.50,"
    "no spark\n"
    for i in range(30)
)
SETTINGS = """
[fleet]
name = "small"
[[exports]]
path = "lines.csv"
[exports.columns]
ticket = "job"
service_date = "date"
unit_id = "machine"
part_number = "part"
description = "text"
quantity = "qty"
unit_price = "price"
complaint = "complaint"
[duty]
all = "yard"
"""
PARTS = "part_number,on_hand,unit_cost\nIC-1,3,4.20\n"
WITH_PARTS = SETTINGS + '\n[[exports]]\npath = "parts.csv"\nkind = "parts"\n'


def go(folder: Path, *, lines: str | bytes | None, settings: str, parts: str | None = None):
    """Write what is given, run, return exit code and message."""
    if lines is not None:
        data = lines if isinstance(lines, bytes) else lines.encode()
        (folder / "lines.csv").write_bytes(data)
    if parts is not None:
        (folder / "parts.csv").write_text(parts)
    (folder / "dutylife.toml").write_text(settings)
    out = folder / "out" / "run"
    result = CliRunner().invoke(
        main, ["run", str(folder / "dutylife.toml"), "--out", str(out)], catch_exceptions=False
    )
    return result, out


BAD = {
    "missing file": (None, SETTINGS, None, ["lines.csv", "Mend"]),
    "not a table": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x04\x00", SETTINGS, None,
                    ["lines.csv"]),
    "mapped column absent": (LINES, SETTINGS.replace('"date"', '"dat"'), None,
                             ["'dat'", "date", "lines.csv"]),
    "every date unreadable": (LINES.replace("2024-", "the year 2024, "), SETTINGS, None,
                              ["date", "lines.csv"]),
    "empty export": (LINES.splitlines()[0] + "\n", SETTINGS, None, ["lines.csv"]),
    "no bytes at all": ("", SETTINGS, None, ["lines.csv"]),
    "unknown settings key": (LINES, SETTINGS + "\n[reprot]\nseed = 1\n", None,
                             ["reprot", "report"]),
    "negative cost in the settings": (LINES, SETTINGS + "\n[costs.default]\nplanned_cost = -4\n",
                                      None, ["costs.default.planned_cost", "-4"]),
    "negative cost in the parts file": (LINES, WITH_PARTS, PARTS.replace("4.20", "-4.20"),
                                        ["parts.csv", "2", "unit_cost"]),
    "cost of a component nobody knows": (LINES, SETTINGS + '\n[costs."ignition cup"]\n'
                                         "planned_cost = 4\n", None,
                                         ["ignition cup", "ignition cap"]),
    "positions of a component nobody knows": (LINES, SETTINGS + '\n[lives.positions]\n'
                                              '"plug cup" = 2\n', None,
                                              ['lives.positions."plug cup"', "ignition cap"]),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD, ids=lambda c: c.replace(" ", "-"))
def test_bad_input_is_told_and_leaves_nothing(case: str, tmp_path: Path):
    lines, settings, parts, says = BAD[case]
    result, out = go(tmp_path, lines=lines, settings=settings, parts=parts)
    assert result.exit_code == 2, result.output
    for word in says:
        assert word in result.output
    assert "Mend" in result.output
    assert "Traceback" not in result.output
    assert not out.parent.exists()


def test_no_settings_file(tmp_path: Path):
    result = CliRunner().invoke(main, ["run", str(tmp_path / "none.toml")])
    assert result.exit_code == 2
    assert "none.toml" in result.output


def test_a_folder_that_is_no_run_is_left_alone(tmp_path: Path):
    mine = tmp_path / "out" / "run"
    mine.mkdir(parents=True)
    (mine / "letter.txt").write_text("keep me")
    result, _ = go(tmp_path, lines=LINES, settings=SETTINGS)
    assert result.exit_code == 2
    assert (mine / "letter.txt").read_text() == "keep me"


def test_one_bad_row_is_set_aside_and_the_run_goes_on(tmp_path: Path):
    bad = LINES + "J99,no idea,M1,IC-1,renewed ignition cap,1,9.50,no spark\n"
    (tmp_path / "lines.csv").write_text(bad)
    (tmp_path / "dutylife.toml").write_text(SETTINGS)
    done = subprocess.run(
        [sys.executable, "-m", "dutylife.cli", "check", str(tmp_path / "dutylife.toml"),
         "--out", str(tmp_path / "out")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    assert "rows in 31 = used 30 + set aside 1" in done.stdout
    aside = (tmp_path / "out" / "tables" / "set_aside.csv").read_text()
    assert "lines.csv,32," in aside


def test_a_bug_never_looks_like_a_finished_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    from dutylife.pipeline import stages

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(stages.lives, "build_lives", broken)
    result, out = go(tmp_path, lines=LINES, settings=SETTINGS)
    assert result.exit_code == 70
    assert "planted" in result.output
    assert not out.parent.exists()
