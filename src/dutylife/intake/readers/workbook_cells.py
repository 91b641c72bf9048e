"""Cells of a workbook's sheets, in this process or in one of its own.

Old and binary workbooks are chains of blocks: a damaged or planted chain that leads back into
itself makes the library take memory until the process is ended from within, which no handler can
catch. Those are read in a process of their own with a limit on its memory. This file is that
process's program, too, so it imports nothing of ours at its top.
"""

import io
import pickle
import subprocess
import sys
from pathlib import Path
from typing import Any

# name of a sheet, its rows, its merged ranges as pairs of (row, column)
Cells = tuple[str, list[list[Any]], list[Any]]
_LEAST_MEMORY = 768 << 20
_MEMORY_A_BYTE = 100  # of the file, cells as Python objects
_LEAST_SECONDS = 60
_BYTES_A_SECOND = 200_000


class WorkbookError(ValueError):
    """The library does not understand the workbook, or fell over it."""


def cells_of(data: bytes) -> list[Cells]:
    """Read every sheet that is a table.

    Raises
    ------
    WorkbookError
        The workbook can't be read.
    """
    from python_calamine import CalamineError, CalamineWorkbook  # slow to import

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        charts = {m.name for m in book.sheets_metadata if "WorkSheet" not in str(m.typ)}
        names = [n for n in book.sheet_names if n not in charts] or list(book.sheet_names)
        sheets = [(name, book.get_sheet_by_name(name)) for name in names]
        return [
            (
                name,
                sheet.to_python(skip_empty_area=False),
                list(getattr(sheet, "merged_cell_ranges", None) or []),
            )
            for name, sheet in sheets
        ]
    except (CalamineError, OSError, ValueError, OverflowError) as error:
        raise WorkbookError(str(error)) from error
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # the library's own slip, not an Exception
            raise
        raise WorkbookError("its inside is not as it should be") from error


def cells_apart(data: bytes) -> list[Cells]:
    """As `cells_of`, in a process of its own that may fall over without taking this one along.

    Raises
    ------
    WorkbookError
        The workbook can't be read.
    """
    command = [sys.executable, "-P", str(Path(__file__).resolve())]
    seconds = _LEAST_SECONDS + len(data) / _BYTES_A_SECOND
    try:
        done = subprocess.run(
            command, input=data, capture_output=True, check=False, timeout=seconds
        )
    except subprocess.TimeoutExpired as error:
        raise WorkbookError(f"no end of it was found in {seconds:.0f} s") from error
    if done.returncode:
        raise WorkbookError("its inside is damaged, it leads nowhere or into itself")
    cells, said = pickle.loads(done.stdout)
    if said:
        raise WorkbookError(said)
    return list(cells)


def _answer() -> None:
    data = sys.stdin.buffer.read()
    try:
        import resource

        most = max(_LEAST_MEMORY, _MEMORY_A_BYTE * len(data))
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    except ImportError:  # not on this system
        pass
    try:
        answer: tuple[list[Cells], str] = (cells_of(data), "")
    except WorkbookError as error:
        answer = ([], str(error))
    sys.stdout.buffer.write(pickle.dumps(answer, protocol=pickle.HIGHEST_PROTOCOL))


if __name__ == "__main__":
    _answer()
