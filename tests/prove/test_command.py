"""The command as it is typed: no option is taken and then not looked at."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import dutylife.prove
from dutylife.cli import main
from dutylife.prove import run


def typed(out: Path, *options: str) -> Result:
    return CliRunner().invoke(main, ["prove", "--out", str(out), *options])


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--case", "none"], ["--case", "without --lives", "add --lives"]),
        (["--case", "none", "--size", "smoke"], ["--case", "without --lives"]),
        (["--lives", "--size", "full"], ["--size", "with --lives", "leave out --size"]),
        # said, though it is what would be taken anyway
        (["--lives", "--size", "smoke"], ["--size", "with --lives"]),
        (["--lives", "--case", "leavers"], ["leavers", "silent_leavers"]),
        (["--models", "--size", "full"], ["--size", "with --models", "leave out --size"]),
        (["--models", "--case", "none"], ["--case", "with --models", "leave out --case"]),
        (["--models", "--fleets", "3"], ["--fleets", "with --models", "--cells"]),
        (["--models", "--lives"], ["--lives and --models", "one of them"]),
        (["--cells", "100"], ["--cells", "without --models", "add --models"]),
        (["--lives", "--cells", "100"], ["--cells", "with --lives"]),
    ],
    ids=lambda given: " ".join(given),
)
def test_an_option_without_effect_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, options: list[str], says: list[str]
) -> None:
    def begun(*_: object, **__: object) -> None:
        raise AssertionError("the proof began")

    for proof in ("prove", "prove_models"):
        monkeypatch.setattr(dutylife.prove, proof, begun)
    out = tmp_path / "out"
    result = typed(out, *options)
    assert result.exit_code == 2, result.output
    for word in [*says, "Mend"]:
        assert word in result.output
    assert not out.exists()


@pytest.mark.parametrize("cells", ["15", "0", "-3", "many"])
def test_too_few_cells_to_prove_anything_are_refused(tmp_path: Path, cells: str) -> None:
    out = tmp_path / "out"
    result = typed(out, "--models", "--cells", cells)
    assert result.exit_code == 2, result.output
    assert "--cells" in result.output
    assert not out.exists()


def test_a_proof_of_lives_in_the_folder_does_not_bar_the_proof_of_the_chain(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both go to the same folder unless told otherwise, so either may come first."""

    def begun(*_: object, **__: object) -> None:
        raise RuntimeError("the proof began")

    monkeypatch.setattr(run, "_results", begun)
    lives = ["--lives", "--case", "none", "--fleets", "1"]
    small = dutylife.prove.prove_lives(wanted=("none",), n_fleets=1, n_units=2, n_years=0.5)
    monkeypatch.setattr(dutylife.prove, "prove_lives", lambda **_: small)
    shown = typed(tmp_path, *lives)
    assert shown.exit_code == 0, shown.output
    assert str(tmp_path / "lives") in shown.output
    assert (tmp_path / "lives" / "lives.html").is_file()
    assert "the proof began" in typed(tmp_path).output
    (tmp_path / "letter.txt").write_text("keep me")
    assert typed(tmp_path).exit_code == 2
