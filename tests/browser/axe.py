"""axe-core, the accessibility checker, fetched by npm once a session and put into an open page."""

import json
import os
import shutil
import subprocess
import tarfile
from functools import cache
from pathlib import Path
from typing import Any

VERSION = "4.10.3"
SECONDS = 120


@cache
def source(folder: Path) -> str:
    """Text of axe-core; an OSError says why it can't be had."""
    given = os.environ.get("DUTYLIFE_AXE")
    if given:
        return Path(given).read_text(encoding="utf-8")
    npm = shutil.which("npm")
    if npm is None:
        raise OSError("no npm on this machine to fetch axe-core with (or set DUTYLIFE_AXE)")
    try:
        done = subprocess.run(
            [npm, "pack", f"axe-core@{VERSION}", "--silent"],
            cwd=folder, capture_output=True, text=True, timeout=SECONDS, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired as error:
        raise OSError(f"npm did not answer in {SECONDS} s") from error
    if done.returncode:
        raise OSError(f"npm can't fetch axe-core: {done.stderr.strip()[:200]}")
    with tarfile.open(next(folder.glob("axe-core-*.tgz"))) as packed:
        member = packed.extractfile("package/axe.min.js")
        assert member is not None
        return member.read().decode("utf-8")


def violations(browser: Any, axe: str) -> list[str]:
    """What axe finds wrong with the open page: rule, how often, the first places."""
    browser.ask(f"{axe}; typeof axe")
    found = browser.ask(
        "axe.run(document, {resultTypes: ['violations']}).then(r => JSON.stringify("
        "r.violations.map(v => [v.id, v.nodes.length, v.nodes.slice(0, 3).map(n => n.html)])))"
    )
    return [f"{rule} ({n}): {'; '.join(places)[:300]}" for rule, n, places in json.loads(found)]
