"""Pages printed by a real Chromium: on the sheets promised, without a link away or a request."""

import re
import shutil
import subprocess
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from devtools import chromium

from dutylife.reports import print_pages

pytestmark = pytest.mark.browser


def sheets(pdf: Path) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))


@pytest.fixture
def asked() -> Iterator[tuple[str, list[str]]]:
    """Address of a server on this machine, and what it was asked for."""
    heard: list[str] = []

    class Ears(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            heard.append(self.path)
            self.send_response(404)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Ears)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}", heard
    server.shutdown()
    thread.join()
    server.server_close()


def folder_with(tmp_path: Path, body: str) -> Path:
    folder = tmp_path / "run"
    (folder / "tables").mkdir(parents=True)
    (folder / "customers" / "Kerb & Son").mkdir(parents=True)
    for page in ("stock.html", "customers/Kerb & Son/maintenance.html"):
        (folder / page).write_text(f"<!doctype html><title>t</title>{body}", encoding="utf-8")
    return folder


def test_the_stock_page_prints_on_one_or_two_sheets(demo_folder: Path, tmp_path: Path):
    folder = folder_with(tmp_path, "")
    shutil.rmtree(folder / "customers")
    shutil.copy(demo_folder / "stock.html", folder)
    (pdf,) = print_pages(folder)
    assert pdf == folder / "stock.pdf"
    assert 1 <= sheets(pdf) <= 2
    assert b"file:" not in pdf.read_bytes()
    assert b"lives.html" not in pdf.read_bytes()


def test_every_page_is_printed_beside_itself(tmp_path: Path):
    body = '<p style="break-after: page">a</p><p>b <a href="lives.html#x">away</a></p>'
    folder = folder_with(tmp_path, body)
    made = print_pages(folder)
    assert [p.relative_to(folder).as_posix() for p in made] == [
        "stock.pdf", "customers/Kerb & Son/maintenance.pdf",
    ]  # fmt: skip
    for pdf in made:
        assert sheets(pdf) == 2
        assert b"lives.html" not in pdf.read_bytes()


def test_a_print_asks_nobody(tmp_path: Path, asked: tuple[str, list[str]]):
    address, heard = asked
    folder = folder_with(tmp_path, f'<img src="{address}/x.png" alt="x"><p>y</p>')
    print_pages(folder)
    assert heard == []
    # the same page printed without our shutters does ask: the server hears
    subprocess.run(
        [str(chromium()), "--headless", "--no-sandbox", f"--user-data-dir={tmp_path}/home",
         f"--print-to-pdf={tmp_path}/plain.pdf", (folder / "stock.html").as_uri()],
        capture_output=True, check=True, timeout=120,
    )  # fmt: skip
    assert heard == ["/x.png"]
