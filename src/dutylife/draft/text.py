"""The settings file as text: keys that are sure, comments that say why, what was left out."""

import json
import re

from dutylife.settings import Export, Join

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def quoted(text: str) -> str:
    r"""Text as a TOML string.

    Examples
    --------
    >>> print(quoted('12" saw'))
    "12\" saw"
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def key_of(name: str) -> str:
    """Name as a TOML key, quoted where it has to be."""
    return name if _BARE.fullmatch(name) else quoted(name)


def comment(text: str, indent: str = "# ") -> str:
    """Text as comment lines; control characters of a file never reach the settings as code."""
    clean = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return indent + clean


def inline(pairs: dict[str, str]) -> str:
    """Pairs as an inline table."""
    return "{" + ", ".join(f"{key_of(k)} = {quoted(v)}" for k, v in pairs.items()) + "}"


def export_keys(export: Export) -> list[str]:
    """Lines of one ``[[exports]]`` before its columns."""
    lines = ["[[exports]]", f"path = {quoted(export.path)}", f"kind = {quoted(export.kind)}"]
    for name in ("sheet", "member", "date_order", "decimal", "thousands"):
        value = getattr(export, name)
        if value:
            lines.append(f"{name} = {quoted(value)}")
    if export.header_row:
        lines.append(f"header_row = {export.header_row}")
    if export.fill_down:
        lines.append("fill_down = true")
    if export.parts_cell is not None:
        cell = export.parts_cell
        pairs = {"column": cell.column, "separator": cell.separator}
        lines.append(f"parts_cell = {inline(pairs)}")
    if export.parts:
        lines += ["parts = [", *[f"    {inline(slot)}," for slot in export.parts], "]"]
    return lines


def join_keys(join: Join) -> list[str]:
    """Lines of one ``[[exports.join]]``."""
    lines = ["[[exports.join]]"]
    for name in ("path", "sheet", "member"):
        value = getattr(join, name)
        if value:
            lines.append(f"{name} = {quoted(value)}")
    if join.fill_down:
        lines.append("fill_down = true")
    for name in ("left", "right"):
        value = getattr(join, name)
        text = quoted(value) if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
        lines.append(f"{name} = {text}")
    return lines
