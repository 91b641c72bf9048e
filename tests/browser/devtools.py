"""A headless Chromium spoken to over its own debugging socket: sizes, positions, screenshots."""

import base64
import json
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Any

FLAGS = (  # noqa: SIM905
    "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --hide-scrollbars "
    "--disable-background-networking --disable-component-update --disable-sync "
    "--remote-debugging-port=0 --remote-allow-origins=*"
).split()
WAIT_SECONDS = 180


def chromium() -> str | None:
    """Path of the browser, None where there is none."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


class Browser:
    """One browser with one tab."""

    def __enter__(self) -> "Browser":
        import websocket

        self._folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        home = Path(self._folder.name)
        command = [str(chromium()), *FLAGS, f"--user-data-dir={home}", "about:blank"]
        self._process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        port_file = home / "DevToolsActivePort"
        end = time.monotonic() + WAIT_SECONDS
        while not (port_file.is_file() and port_file.read_text().count("\n")):
            assert self._process.poll() is None, "the browser ended by itself"
            assert time.monotonic() < end, "the browser did not open its debugging port"
            time.sleep(0.05)
        port, path = port_file.read_text().split()
        self._forget()
        self._socket = websocket.create_connection(
            f"ws://127.0.0.1:{port}{path}", timeout=WAIT_SECONDS
        )
        self._number, self._session = 0, ""
        target = self.send("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.send("Target.attachToTarget", targetId=target, flatten=True)[
            "sessionId"
        ]
        self.send("Page.enable")
        self.send("Network.enable")
        self.send("Runtime.enable")
        self.send("Log.enable")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._socket.close()
        self._process.terminate()
        self._process.wait(timeout=WAIT_SECONDS)
        self._folder.cleanup()

    def send(self, method: str, **params: Any) -> dict[str, Any]:
        self._number += 1
        message = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        self._socket.send(json.dumps(message))
        while True:
            answer = json.loads(self._socket.recv())
            if answer.get("id") == self._number:
                assert "error" not in answer, answer
                return dict(answer["result"])
            self._heard(answer)

    def _forget(self) -> None:
        self.dialogs: list[str] = []
        self.asked_for: list[str] = []
        self.errors: list[str] = []

    def _heard(self, event: dict[str, Any]) -> None:
        if event.get("method") == "Page.javascriptDialogOpening":
            self.dialogs.append(event["params"]["message"])
            self._socket.send(
                json.dumps(
                    {"id": 10**6, "method": "Page.handleJavaScriptDialog",
                     "params": {"accept": True}, "sessionId": self._session}
                )
            )  # fmt: skip
        if event.get("method") == "Network.requestWillBeSent":
            self.asked_for.append(event["params"]["request"]["url"])
        said = event.get("params", {})
        if event.get("method") == "Runtime.exceptionThrown":
            self.errors.append(said["exceptionDetails"]["text"])
        if event.get("method") == "Log.entryAdded" and said["entry"]["level"] == "error":
            self.errors.append(said["entry"]["text"])
        if event.get("method") == "Runtime.consoleAPICalled" and said["type"] == "error":
            self.errors.append(str(said["args"]))

    def open(self, page: Path, width: int, height: int) -> None:
        """Open a file at a screen size and wait until it stands."""
        self.visit(page.resolve().as_uri(), width, height)

    def visit(self, address: str, width: int, height: int) -> None:
        """Open an address at a screen size and wait until it has loaded."""
        self._forget()
        self.send("Emulation.setEmulatedMedia", media="")
        self.send(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=width < 640,
        )  # fmt: skip
        before = self.ask("performance.timeOrigin")
        self.send("Page.navigate", url=address)
        end = time.monotonic() + WAIT_SECONDS
        ready = f"document.readyState === 'complete' && performance.timeOrigin !== {before}"
        while not self.ask(ready):
            assert time.monotonic() < end, f"{address} did not load"
            time.sleep(0.05)

    def press(self, key: str, code: int) -> None:
        """Press and let go a key, by its name and number."""
        for kind in ("rawKeyDown", "keyUp"):
            self.send(
                "Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code
            )

    def ask(self, expression: str) -> Any:
        """Value of a JavaScript expression in the page."""
        answer = self.send(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def as_printed(self) -> None:
        """Lay the open page out as on A4 paper, its margins taken off."""
        self.send("Emulation.setEmulatedMedia", media="print")
        self.send(
            "Emulation.setDeviceMetricsOverride",
            width=703, height=1017, deviceScaleFactor=1, mobile=False,
        )  # fmt: skip

    def screenshot(self, to: Path, *, whole_page: bool = False) -> None:
        shot = self.send("Page.captureScreenshot", captureBeyondViewport=whole_page)
        to.write_bytes(base64.b64decode(shot["data"]))
