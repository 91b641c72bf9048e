"""A notebook in a real JupyterLab in the browser: all cells run, a slider moved, an answer."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from devtools import Browser

from dutylife.provenance import shipped_folder

pytestmark = [pytest.mark.browser, pytest.mark.slow]

TOKEN = "of-this-test-alone"
SECONDS = 240
# six for work, and the three pages
NOTEBOOKS = (
    "component", "confirm", "own_report", "part_makers", "sheet", "what_if",
    "evidence", "maintenance", "stock",
)  # fmt: skip
# where the notebooks look for the run of the demo
RUN = Path("reports/district-works-depot-invented/2025-12-31")
# the executed cells of the open notebook, and what went wrong in them
STATE = """(() => {
  const panel = jupyterapp.shell.currentWidget;
  const cells = panel.content.widgets.filter(w => w.model.type === 'code');
  return JSON.stringify({
    code: cells.filter(w => w.model.sharedModel.source.trim()).length,
    run: cells.filter(w => w.model.executionCount !== null).length,
    errors: [...document.querySelectorAll('[data-mime-type="application/vnd.jupyter.error"]')]
      .map(e => e.innerText.slice(-300)),
  });
})()"""
READY = (
    "typeof jupyterapp !== 'undefined' && "
    "!!jupyterapp.shell.currentWidget?.sessionContext?.session?.kernel"
)
ANSWER = "document.querySelector('.widget-html .answer')?.innerText ?? ''"
# brings the slider of this name into view and to the keyboard
FOCUS = """(() => {
  const rows = [...document.querySelectorAll('.widget-slider, .widget-hslider')];
  const row = rows.find(r => r.innerText.includes('hours run, times'));
  if (!row) return false;
  const handle = row.querySelector('.noUi-handle');
  handle.scrollIntoView({block: 'center'});
  handle.focus();
  return document.activeElement === handle;
})()"""


@dataclass(frozen=True)
class Lab:
    address: str
    folder: Path


def free_port() -> int:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return int(held.getsockname()[1])


@pytest.fixture(scope="module")
def lab(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    """A JupyterLab of its own on the loopback; notebooks and demo lie as in a checkout."""
    home = tmp_path_factory.mktemp("lab")
    work, port = home / "work", free_port()
    shutil.copytree(shipped_folder("notebooks"), work / "notebooks")
    shutil.copytree(shipped_folder("data_demo"), work / "data_demo")
    shutil.copytree(demo_folder, work / RUN)
    own = {f"JUPYTER_{what}_DIR": str(home / what.lower()) for what in ("CONFIG", "RUNTIME")}
    source = str(Path(__file__).parents[2] / "src")
    python_path = os.pathsep.join(filter(None, [source, os.environ.get("PYTHONPATH", "")]))
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", f"--port={port}",
        f"--ServerApp.root_dir={work}", f"--IdentityProvider.token={TOKEN}", "--allow-root",
        "--LabApp.expose_app_in_browser=True", "--ServerApp.port_retries=0",
        f"--LabApp.workspaces_dir={home / 'workspaces'}",
        f"--LabApp.user_settings_dir={home / 'settings'}",
    ]  # fmt: skip
    with (home / "log").open("w") as log:
        process = subprocess.Popen(
            command, stdout=log, stderr=log, env=os.environ | own | {"PYTHONPATH": python_path}
        )
    address = f"http://127.0.0.1:{port}"
    try:
        end = time.monotonic() + SECONDS
        while not answers(f"{address}/api?token={TOKEN}"):
            assert process.poll() is None, (home / "log").read_text()[-2000:]
            assert time.monotonic() < end, "JupyterLab did not answer"
            time.sleep(0.3)
        yield Lab(address, work)
    finally:
        process.terminate()
        process.wait(timeout=60)


def answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(address, timeout=5) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def wait_for(browser: Browser, expression: str, what: str) -> None:
    end = time.monotonic() + SECONDS
    while not browser.ask(expression):
        assert time.monotonic() < end, what
        time.sleep(0.3)


def run_all(browser: Browser, lab: Lab, name: str) -> None:
    """Open a notebook, run every cell, and wait until all have run."""
    import json

    browser.visit(f"{lab.address}/lab/tree/notebooks/{name}.ipynb?token={TOKEN}&reset", 1280, 900)
    wait_for(browser, READY, f"{name} did not open")
    browser.ask("jupyterapp.commands.execute('notebook:run-all-cells'); true")
    end = time.monotonic() + SECONDS
    while (state := json.loads(browser.ask(STATE)))["run"] < state["code"]:
        assert state["errors"] == []
        assert time.monotonic() < end, f"{name}: {state}"
        time.sleep(0.5)
    assert state["errors"] == []
    assert state["code"] >= 3


def test_no_notebook_is_left_out():
    assert set(NOTEBOOKS) == {p.stem for p in shipped_folder("notebooks").glob("*.ipynb")}


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_a_notebook_runs_in_jupyterlab(browser: Browser, lab: Lab, name: str):
    run_all(browser, lab, name)


def test_a_moved_slider_changes_the_answer(browser: Browser, lab: Lab):
    run_all(browser, lab, "what_if")
    wait_for(browser, f"{ANSWER} !== ''", "the panel shows no answer")
    before = browser.ask(ANSWER)
    assert "times as much" not in before
    assert browser.ask(FOCUS)
    for _ in range(4):  # from 1 to 2 in steps of a quarter
        browser.press("ArrowRight", 39)
    wait_for(browser, f"{ANSWER} !== {before!r}", "the answer stayed as it was")
    wait_for(browser, f"{ANSWER}.includes('2 times as much')", browser.ask(ANSWER))
