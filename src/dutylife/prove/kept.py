"""Results of finished fleets kept on disk: a proof of hours is taken up where it stopped."""

import json
from pathlib import Path
from typing import Any

from dutylife.provenance import digest_of


class KeptResults:
    """Results by name in a folder, each good only for the same job and the same program.

    Parameters
    ----------
    folder : Path
    program : str
        Digest of the program and its libraries: a changed chain gives other results.
    """

    def __init__(self, folder: Path, program: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.program = folder, program

    def taken_up(self, name: str, job: dict[str, Any]) -> Any:
        """Return the result kept of this very job, None if there is none."""
        path = self.folder / f"{name}.json"
        if not path.is_file():
            return None
        try:
            data = json.loads(path.read_text(encoding="utf-8"))
        except json.JSONDecodeError:  # cut short when the machine stopped: it is run again
            return None
        return data.get("result") if data.get("digest") == self._digest(job) else None

    def keep(self, name: str, job: dict[str, Any], result: Any) -> None:
        """Write a result whole or not at all."""
        text = json.dumps({"digest": self._digest(job), "result": result}, sort_keys=True)
        half = self.folder / f"{name}.json.new"
        half.write_text(text, encoding="utf-8")
        half.rename(self.folder / f"{name}.json")

    def _digest(self, job: dict[str, Any]) -> str:
        return digest_of(json.dumps(job, sort_keys=True), self.program)
