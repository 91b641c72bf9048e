"""Pieces of work for the tests: functions of a module, so that any process can be sent them."""

import os
import signal
import time
from pathlib import Path

from dutylife.errors import ExportError
from dutylife.settings.sections import Compute
from dutylife.spread import spread


def powered(base: int, power: int) -> tuple[int, int]:
    """Power of a number, and who worked it out."""
    return base**power, os.getpid()


def slow_then_fast(_: None, seconds: float) -> float:
    """The number itself, after so long."""
    time.sleep(seconds)
    return seconds


def kills_its_worker_once(folder: str, number: int) -> int:
    """A square; at job 2 the process dies the first time, as when the system kills it."""
    mark = Path(folder) / "killed"
    if number == 2 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number**2


def always_kills(_: None, number: int) -> int:
    """Never comes back."""
    if number == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def refuses(where: str, number: int) -> int:
    """An error of ours at the third job."""
    if number == 3:
        raise ExportError("The third file is empty.", where, "export it again")
    return number


def spreads_again(compute: Compute, number: int) -> list[int]:
    """Processes of the pieces of a piece."""
    inner = [pid for _, pid in spread(powered, 2, [1, 2], compute)]
    return [os.getpid(), *inner]
