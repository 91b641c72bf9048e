"""Zip archives: their members are read in memory, nothing is unpacked to disk."""

import fnmatch
import io
import lzma
import zipfile
import zlib
from pathlib import PurePosixPath

from dutylife.errors import DutylifeError, ExportError, SettingsError
from dutylife.intake.readers import registry
from dutylife.intake.readers.sheet import ReadNote, Sheet, Source, no_table
from dutylife.intake.readers.workbook import is_workbook_archive, read_workbook
from dutylife.intake.readers.workbook_area import MOST_BYTES, MOST_GROWTH, SMALL_BYTES
from dutylife.settings import Export

# far above any shop's export, far below what fills a memory
MOST_MEMBERS = 1000


def read_archive(source: Source, export: Export, key: str) -> list[Sheet]:
    """Read every member of a zip that is a table.

    Raises
    ------
    ExportError
        Damaged, locked, too large, a member outside its folder, an archive in the archive, or
        no member is a table.
    SettingsError
        ``member`` names none.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(source.data))
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError) as error:
        raise no_table(
            f"The archive (or workbook) can't be opened: {error}.", source,
            "copy or export it again; it may have been cut off on its way",
        ) from error  # fmt: skip
    if is_workbook_archive(source.data):
        return read_workbook(source, export, key)
    with archive:
        members = _members(archive, source, export, key)
        sheets: list[Sheet] = []
        passed: list[tuple[str, str]] = []
        for member in members:
            try:
                sheets += _member_sheets(archive, member, source, export, key)
            except SettingsError:
                raise
            except DutylifeError as error:
                # a member asked for by name must be readable; beside tables lie notes and forms
                if export.member or len(members) == 1:
                    raise
                passed.append((member.filename, error.what))
    if not sheets:
        what = "; ".join(f"{name}: {why}" for name, why in passed[:5])
        raise no_table(f"No member of the archive is a table: {what}.", source, "export it again")
    if passed:
        told = "; ".join(f"{name} ({why.rstrip('.')})" for name, why in passed[:5])
        note = ReadNote(
            f"{len(passed)} members of the archive were not read: {told}.",
            f'set member in {key} to the files that count, for example member = "*.csv"',
            kind="ask",
        )
        sheets[0] = _with_note(sheets[0], note)
    return sheets


def _with_note(sheet: Sheet, note: ReadNote) -> Sheet:
    from dataclasses import replace

    return replace(sheet, notes=(*sheet.notes, note))


def _members(
    archive: zipfile.ZipFile, source: Source, export: Export, key: str
) -> list[zipfile.ZipInfo]:
    listed = archive.infolist()
    if any(not PurePosixPath(m.filename.replace("\\", "/")).parts for m in listed):
        raise no_table(
            "The archive holds a file without a name.", source, "pack it again, or unpack it"
        )
    found = [m for m in listed if not m.is_dir() and not _is_litter(m.filename)]
    if not found:
        raise no_table("The archive holds no file.", source, "export it again")
    for member in found:
        path = PurePosixPath(member.filename.replace("\\", "/"))
        if path.is_absolute() or ".." in path.parts or ":" in path.parts[0]:
            raise no_table(
                f"The archive names a file outside itself: {member.filename!r}.", source,
                "do not use this archive; ask who sent it for a new one",
            )  # fmt: skip
    n_bytes = sum(m.file_size for m in found)
    if len(found) > MOST_MEMBERS or n_bytes > MOST_BYTES:
        raise no_table(
            f"The archive holds {len(found)} files of {n_bytes / 1e6:.0f} MB; at most "
            f"{MOST_MEMBERS} files and {MOST_BYTES / 1e6:.0f} MB are read.",
            source, "unpack it and give the files that count",
        )  # fmt: skip
    if export.member:
        wanted = [m for m in found if fnmatch.fnmatchcase(m.filename, export.member)]
        if not wanted:
            raise SettingsError(
                f"The archive has no member '{export.member}'.", f"{source.name} ({key}.member)",
                "it has: " + ", ".join(sorted(m.filename for m in found)[:12]),
            )  # fmt: skip
        found = wanted
    return sorted(found, key=lambda m: m.filename)


def _is_litter(name: str) -> bool:
    """Files that file managers add, and hidden ones."""
    parts = PurePosixPath(name.replace("\\", "/")).parts
    return "__MACOSX" in parts or any(p.startswith(".") and p != ".." for p in parts)


def _member_sheets(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, source: Source, export: Export, key: str
) -> list[Sheet]:
    name = f"{source.name}/{member.filename}"
    if member.flag_bits & 0x1:
        raise ExportError(
            "The archive is locked by a password.", name, "pack it again without a password"
        )
    if member.file_size > max(SMALL_BYTES, MOST_GROWTH * max(1, member.compress_size)):
        raise ExportError(
            f"The member grows from {member.compress_size} to {member.file_size} bytes, which no "
            "export does.", name, "do not use this archive; ask who sent it for a new one",
        )  # fmt: skip
    try:
        with archive.open(member) as stream:
            data = stream.read(member.file_size + 1)
    except (
        zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, OSError, ValueError,
        NotImplementedError, RuntimeError,
    ) as error:  # fmt: skip
        raise ExportError(
            f"The member can't be unpacked: {error}.", name, "copy or pack the archive again"
        ) from error
    if not data:
        raise ExportError("The file is empty (0 bytes).", name, "export it again")
    inner = Source(source.path / member.filename, name, data)
    reader = registry.reader_for(inner, key)
    if reader.name == "archive" and not is_workbook_archive(data):
        raise ExportError(
            "An archive inside an archive is not read.", name, "unpack it and give its files"
        )
    return reader.read(inner, export, key)


READER = registry.Reader(
    name="archive",
    endings=(".zip",),
    read=read_archive,
    is_mine=lambda head: head.startswith((b"PK\x03\x04", b"PK\x05\x06")),
)
