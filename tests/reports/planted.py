"""A fault planted in sections as a kernel of the pages starts: the program itself is untouched."""

from pathlib import Path

import pytest


def plant(
    folder: Path, monkeypatch: pytest.MonkeyPatch, message: str, *names: str, late: bool = False
) -> None:
    """Let sections of these names raise ValueError with this message in every kernel from now on.

    Parameters
    ----------
    folder : Path
        Home of the kernel's start-up file.
    monkeypatch : MonkeyPatch
    message : str
    *names : str
    late : bool
        Opening the run fails instead, which is no section.
    """
    start = folder / "profile_default" / "startup"
    start.mkdir(parents=True)
    broken = f"def _broken(*_):\n    raise ValueError({message!r})\n"
    where = (
        "import dutylife\ndutylife.open_run = _broken\n"
        if late
        else "from dutylife.reports import SECTIONS\n"
        f"SECTIONS.update({{name: _broken for name in {names!r}}})\n"
    )
    (start / "00-fault.py").write_text(broken + where, encoding="utf-8")
    monkeypatch.setenv("IPYTHONDIR", str(folder))
