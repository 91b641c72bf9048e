"""The settings file (TOML) read and checked: every fault at once, the nearest key named."""

import tomllib
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from dutylife.errors import SettingsError
from dutylife.settings.nearest import nearest
from dutylife.settings.whole import Settings


def read_settings(path: str | Path) -> Settings:
    """Read and check a settings file.

    Parameters
    ----------
    path : str or Path
        TOML file; paths inside it are relative to its folder.

    Raises
    ------
    SettingsError
        The file is missing, is no TOML, or breaks a rule; every fault in one message.
    """
    file = Path(path)
    if not file.is_file():
        raise SettingsError("The settings file does not exist.", str(file), "check the path")
    try:
        data = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(
            f"The settings file is not readable TOML: {error}.", str(file), "correct that line"
        ) from error
    except (RecursionError, OSError) as error:
        why = "keys lie too deep in each other" if isinstance(error, RecursionError) else error
        raise SettingsError(
            f"The settings file can't be read: {why}.", str(file),
            "correct it, or check who may read it",
        ) from error  # fmt: skip
    return settings_from(data, folder=file.resolve().parent, source=file.name)


def settings_from(data: dict[str, Any], folder: Path = Path(), source: str = "") -> Settings:
    """Check settings given as a dictionary of the same form as the file.

    Raises
    ------
    SettingsError
        Every fault at once, each with its key.
    """
    reserved = {"folder", "source"} & data.keys()
    try:
        if reserved:
            raise SettingsError(
                f"Unknown settings key '{min(reserved)}'.", source, "remove this key"
            )
        return Settings(**data, folder=folder, source=source or "settings")
    except ValidationError as error:
        faults = [_fault(e) for e in error.errors()]
        what = f"{len(faults)} fault{'s' if len(faults) > 1 else ''} in the settings."
        where = f"{source or 'settings'}: " + "; ".join(f"{key}: {why}" for key, why, _ in faults)
        mends = [mend for _, _, mend in faults if mend]
        raise SettingsError(what, where, "; ".join(dict.fromkeys(mends))) from error


def _fault(error: Any) -> tuple[str, str, str]:
    """Key, what is wrong with it, how to mend it."""
    path = [str(p) for p in error["loc"]]
    key = ".".join(p if p.replace("_", "").isalnum() else f'"{p}"' for p in path)
    if error["type"] == "extra_forbidden":
        near = nearest(path[-1], _keys_at(path[:-1]))
        return key, "unknown key" + near, f"correct or remove '{key}'"
    given = error.get("input")
    shown = "" if isinstance(given, (dict, list)) else f" (given: {given!r})"
    message = error["msg"].removeprefix("Value error, ")
    message = message[0].lower() + message[1:]
    return key, message + shown, f"correct '{key}'"


def _keys_at(path: list[str]) -> list[str]:
    """Keys allowed where ``path`` leads; follows dictionaries and lists by their value type."""
    model: Any = Settings
    for part in path:
        if part.isdigit():
            continue
        fields = getattr(model, "model_fields", {})
        if part not in fields:
            continue  # a name chosen by the user, below a dictionary of sections
        kinds = [fields[part].annotation]
        while kinds:
            kind = kinds.pop()
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                model = kind
                break
            kinds += list(getattr(kind, "__args__", ()))
    names = [f.alias or n for n, f in model.model_fields.items()]
    return [n for n in names if n not in ("folder", "source")]
