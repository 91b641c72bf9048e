"""Strategies: bytes of files gone wrong, settings nobody meant, texts nobody typed on purpose."""

from functools import cache
from pathlib import Path
from typing import Any

import seeds
from hypothesis import strategies as st

# what breaks readers: ends and marks of formats, numbers at their limits, signs of other layers
TOKENS = (
    b"", b"\x00", b"\xff\xff\xff\xff", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b"''", b"\r", b"\n\n",
    b"PK\x03\x04", b"\x1f\x8b", b"SQLite format 3\x00", b"PAR1", b"<!ENTITY a 'b'>", b"<![CDATA[",
    b"<table>", b"</td>",
    b'colspan="99999999999999999999"', b"&#99999999999;", b"\\u0000", b"\\ud800",
    b"NaN", b"1e999", b"-0", b"9" * 400, b"0x7fffffffffffffff", b"99999-99-99", b"0001-01-01",
    b"[[[[[[[[", b"{\"a\":", b"=1+1", b"../../x", b"%n%s", b"\xc3\x28", b"\xe2\x80\xae", b"\x1a",
    b"NULL", b"'); DROP", b"/*", b"--", b";;;;", b"\xc2\xa0", b"\xf0\x9f\x94\xa7", b"A" * 3000,
)  # fmt: skip


def _changes(draw: st.DrawFn, data: bytes) -> bytes:
    """One change of some bytes."""
    kind = draw(st.integers(0, 6))
    at = draw(st.integers(0, max(0, len(data))))
    if kind == 0:
        return data[:at] + bytes([draw(st.integers(0, 255))]) + data[at + 1 :]
    if kind == 1:
        return data[:at]
    if kind == 2:
        return data[:at] + draw(st.sampled_from(TOKENS)) + data[at:]
    length = draw(st.integers(1, 400))
    if kind == 3:
        return data[:at] + data[at + length :]
    if kind == 4:
        return data[: at + length] + data[at:]
    if kind == 5:
        return data[:at] + draw(st.binary(max_size=24)) + data[at:]
    other = draw(st.sampled_from(sorted(seeds.files())))
    return data[:at] + seeds.files()[other][at : at + length] + data[at:]


@st.composite
def broken_files(draw: st.DrawFn, only: tuple[str, ...] = ()) -> tuple[str, bytes]:
    """A name and bytes: a sound or malformed file, changed in one to five places."""
    name = draw(st.sampled_from(only or sorted(seeds.files())))
    data = seeds.files()[name]
    for _ in range(draw(st.integers(1, 5))):
        data = _changes(draw, data)
    ending = draw(st.sampled_from(("", "", "", ".csv", ".xlsx", ".json", ".db", ".sql")))
    return name + ending, data


ODD = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=12), st.dates(),
    st.sampled_from(("../../x", "/dev/zero", "a\x00b", "**/*", "[", "sqlite://", "x://", "default",
                     "postgresql://a:b@:x/", "(a+)+$", "(?P<part_number>.*", "\\", "utf-7", "hex",
                     "zlib", "unicode_escape", "idna", "=1", "lines.csv", ".", "..", "recommended",
                     "2024-W53", "9" * 30, "-1", "inf")),
    st.lists(st.text(max_size=4), max_size=3),
    st.dictionaries(st.text(max_size=4), st.integers(), max_size=2),
)  # fmt: skip


@cache
def _paths() -> tuple[tuple[str, ...], ...]:
    """Every key of the settings, ``*`` where a name stands."""
    from pydantic import BaseModel

    from dutylife.settings import Settings

    found: list[tuple[str, ...]] = []

    def walk(model: Any, before: tuple[str, ...]) -> None:
        for name, field in model.model_fields.items():
            if field.exclude:
                continue
            path = (*before, field.alias or name)
            found.append(path)
            kinds = [field.annotation]
            while kinds:
                kind = kinds.pop()
                if isinstance(kind, type) and issubclass(kind, BaseModel):
                    inner = path if kind.__name__ in str(field.annotation)[:40] else (*path, "*")
                    walk(kind, inner if "dict[" in str(field.annotation) else path)
                    found.append((*path, "*"))
                kinds += list(getattr(kind, "__args__", ()))

    walk(Settings, ())
    return tuple(dict.fromkeys(found))


@st.composite
def odd_settings(draw: st.DrawFn) -> dict[str, Any]:
    """Settings of an export that is there, with a few keys given values of any kind."""
    data: dict[str, Any] = {
        "exports": [{"path": "lines.csv", "columns": dict(seeds.COLUMNS)}], "duty": {"all": "kerb"},
    }  # fmt: skip
    names = st.sampled_from(
        ("default", "ignition cap", "Kerb Crew", "TP-1", "IC-1", "x", "", "a.b")
    )
    for _ in range(draw(st.integers(1, 4))):
        path = [draw(names) if p == "*" else p for p in draw(st.sampled_from(_paths()))]
        value, level = draw(ODD), data
        for key in path[:-1]:
            inner = level.setdefault(key, {})
            if isinstance(inner, list):
                inner = inner[0] if inner and isinstance(inner[0], dict) else {}
            if not isinstance(inner, dict):
                break
            level = inner
        level[path[-1]] = value
    return data


@st.composite
def broken_settings_texts(draw: st.DrawFn) -> bytes:
    """A settings file changed in one to four places."""
    data = draw(st.sampled_from(seeds.settings_texts())).encode()
    for _ in range(draw(st.integers(1, 4))):
        data = _changes(draw, data)
    return data


@cache
def _words() -> tuple[str, ...]:
    import tomllib

    from dutylife import coding

    text = Path(coding.__file__).with_name("lexicon.toml").read_text(encoding="utf-8")
    found: set[str] = set()

    def walk(value: Any) -> None:
        if isinstance(value, dict):
            for k, v in value.items():
                found.add(str(k))
                walk(v)
        elif isinstance(value, list):
            for v in value:
                walk(v)
        elif isinstance(value, str):
            found.add(value)

    walk(tomllib.loads(text))
    return tuple(sorted(found))


_FIGURES = (
    "9.9k", "12,5 kohm", "+/- 5 %", "0.5mm", "OL", "1e9", "14-16 psi", "\u221e", "4.7 M\u03a9",
    "90/80 psi", "ohms", "25 hrs", "TP-1", "2x", "1/2", "\u00bd", "#4", "12v", "was", "at", "not",
    "l/h", "r/h", ",", ";", "(", ")", "-", "+", "&", "\n", "*", "'", "%",
)  # fmt: skip


def odd_texts() -> st.SearchStrategy[str]:
    """Text of a job: words of the trade, figures with units, and anything else."""
    pieces = st.one_of(
        st.sampled_from(_words()), st.sampled_from(_FIGURES), st.text(max_size=8),
        st.decimals(-1000, 100000, places=2).map(str),
    )  # fmt: skip
    joined = st.tuples(st.sampled_from((" ", "", "  ", ", ")), st.lists(pieces, max_size=9))
    return joined.map(lambda pair: pair[0].join(pair[1]))
