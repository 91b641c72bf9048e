"""Pages to PDF by a headless Chromium, where there is one; it asks nobody on the network."""

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

from dutylife.errors import RunError
from dutylife.provenance import open_run
from dutylife.reports.packs.listing import FOLDER

NAMES = ("chromium", "chromium-browser")
_LONGEST_SECONDS = 300
_FLAGS = (
    "--headless", "--disable-gpu", "--no-first-run", "--no-default-browser-check",
    "--no-pdf-header-footer",  # else it prints the file's address on every sheet
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-default-apps", "--disable-extensions", "--disable-quic",
    # no name is looked up, and whatever is asked for goes to a port that nobody listens on
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--proxy-server=127.0.0.1:9", "--proxy-bypass-list=<-loopback>",
)  # fmt: skip
_AWAY = re.compile(r"""(<a\b[^>]*?)\s+href=(?:"(?!#)[^"]*"|'(?!#)[^']*')""")


def print_pages(
    folder: str | Path,
    *,
    browser: str | Path | None = None,
    progress: Callable[[str], None] | None = None,
) -> list[Path]:
    """Print every page of a run, of its machines and of its customer packs to PDF beside it.

    Links to other pages are left out of the print: it would name folders of this machine.

    Parameters
    ----------
    folder : str or Path
        Run DIR.
    browser : str or Path, optional
        The Chromium to take; the one on the search path when not given.
    progress : callable, optional
        Called with a short text as each page is begun.

    Returns
    -------
    list of Path
        The PDF files.

    Raises
    ------
    RunError
        The folder holds no run or no page, there is no Chromium, or it printed nothing.
    """
    run = open_run(Path(folder).resolve())
    pages = sorted(run.folder.glob("*.html")) + sorted(run.folder.glob(f"{FOLDER}/*/*.html"))
    if not pages:
        raise RunError("This run has no pages.", str(run.folder), "make them by `dutylife run`")
    command, tell = chromium(browser), progress or (lambda _: None)
    out = []
    for page in pages:
        tell(f"print {page.relative_to(run.folder).with_suffix('').as_posix()}")
        out.append(_printed(page, command))
    return out


def chromium(named: str | Path | None = None) -> str:
    """Return the Chromium to print with.

    Raises
    ------
    RunError
        There is none.
    """
    tried = [str(named)] if named else list(NAMES)
    for name in tried:
        found = shutil.which(name)
        if found:
            return found
    raise RunError(
        "There is no Chromium to print with.", f"looked for: {', '.join(tried)}",
        "install it by the system's own packages (Debian and Ubuntu: apt install chromium; Fedora: "
        "dnf install chromium), or name one with --browser; the pages are laid out for paper and "
        "print from any browser as they are",
    )  # fmt: skip


def _printed(page: Path, command: str) -> Path:
    """Print one page from a copy without links, in a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as place:
        copy, made = Path(place) / page.name, Path(place) / "print.pdf"
        copy.write_text(_AWAY.sub(r"\1", page.read_text(encoding="utf-8")), encoding="utf-8")
        # Chromium refuses to start as root with its own walls up
        root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
        asked = [
            command, *_FLAGS, *root, f"--user-data-dir={place}/home", f"--print-to-pdf={made}",
            copy.as_uri(),
        ]  # fmt: skip
        try:
            done = subprocess.run(  # noqa: S603  (a fixed command on our own file)
                asked, capture_output=True, text=True, errors="replace", check=False,
                timeout=_LONGEST_SECONDS,
            )  # fmt: skip
        except subprocess.TimeoutExpired as error:
            raise _nothing(page, f"it was not done in {_LONGEST_SECONDS} s") from error
        whole = made.is_file() and made.read_bytes().rstrip().endswith(b"%%EOF")
        if done.returncode or not whole:
            said = [line for line in done.stderr.splitlines() if line and "dbus" not in line]
            raise _nothing(page, said[-1][:300] if said else f"status {done.returncode}")
        return Path(shutil.move(made, page.with_suffix(".pdf")))


def _nothing(page: Path, said: str) -> RunError:
    return RunError(
        f"Chromium printed nothing: {said}", page.name,
        "try again, name another one with --browser, or print the page from a browser",
    )  # fmt: skip
