"""One's own engine profiles on disk: made, changed and put away, and never lost.

A file is replaced as a whole, and only by one that has been checked; what was there before goes to `archive` beside it,
with the time in its name. See `daq.engine_sheet` for what stands in a file.
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from daq.engine_sheet import KEY, SUFFIX, EngineSheet, checked, find, own, read, sheet, shipped
from daq.errors import DataError, UsageError
from daq.procedure.engine import EngineProfile
from daq.sinks.disk import storage_errors

ARCHIVE = "archive"
Changes = Mapping[str, Any]
"""New values of keys as TOML has them; None takes a key out."""


@dataclass(frozen=True, slots=True)
class Listed:
    """One profile there is; `complaint` instead of `profile` where its file is none. `own`: not one shipped."""

    key: str
    own: bool
    profile: EngineProfile | None
    complaint: str = ""


def list_engines(folder: Path) -> list[Listed]:
    """All there are, by key; one's own stand for those of the same key that come with boretight."""
    ours = own(folder)
    found = []
    for key in sorted({*ours, *shipped()}):
        source = find(folder, key)
        try:
            found.append(Listed(key, key in ours, checked(read(source, key), str(source)).profile_record()))
        except DataError as error:
            found.append(Listed(key, key in ours, None, str(error)))
    return found


def load_engine(folder: Path, key: str) -> EngineProfile:
    """The profile of this key. UsageError if there is none, DataError if its file is wrong."""
    return sheet(folder, key).profile_record()


def archived(folder: Path) -> list[Path]:
    return sorted((folder / ARCHIVE).glob(f"*{SUFFIX}"))


# ---- the text of a file


def as_toml(values: Mapping[str, Any]) -> str:
    """Keys in the order of the sheet, one a line. Ref: TOML 1.0; its basic strings take the escapes of JSON."""
    known = [*EngineSheet.model_fields, *values]
    return "".join(_line(key, values[key]) for key in dict.fromkeys(known) if key in values)


def _line(key: str, value: Any) -> str:
    written = json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return f"{key} = {written}\n"


def value_of(text: str) -> Any:
    """What a person writes behind `--set key=`: TOML where it is some, else the words as they are; None for nothing."""
    if not text.strip():
        return None
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text.strip()


def changed(text: str, changes: Changes) -> str:
    """The text with these keys set anew. Comments and order stay where each key has a line of its own."""
    wanted = {key: value for key, value in {**tomllib.loads(text), **changes}.items() if value is not None}
    for key, value in changes.items():
        line = "" if value is None else _line(key, value)
        own_line = re.compile(rf"^{re.escape(key)}[ \t]*=.*(?:\n|$)", re.MULTILINE)
        found = own_line.search(text)
        text = text[: found.start()] + line + text[found.end() :] if found else _ended(text) + line
    try:
        return text if tomllib.loads(text) == wanted else as_toml(wanted)
    except tomllib.TOMLDecodeError:
        return as_toml(wanted)


def _ended(text: str) -> str:
    return text if not text or text.endswith("\n") else text + "\n"


# ---- making, changing, putting away


def add(folder: Path, key: str, values: Mapping[str, Any]) -> Path:
    """A new profile of one's own. UsageError if there is one of that key already, DataError for what it cannot be."""
    if not KEY.fullmatch(key):
        raise UsageError(
            f"{key[:40]!r} cannot be the key of a profile.", "Up to 32 lower-case letters, digits and dashes."
        )
    if key in own(folder):
        raise UsageError(f"There is an engine profile {key} already.", f"`boretight engine edit {key}` changes it.")
    return keep(folder, key, as_toml(values))


def text_of(folder: Path, key: str) -> str:
    """The file as it stands, one's own or one that came with boretight."""
    return find(folder, key).read_text(encoding="utf-8")


def keep(folder: Path, key: str, text: str) -> Path:
    """Writes the file of this key, checked first; the one before it goes to the archive. DataError changes nothing."""
    path = folder / f"{key}{SUFFIX}"
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DataError(f"{key} is no TOML; nothing was changed.", "Correct the line named.", str(error)) from error
    name = checked({"name": key, **values}, f"{key} (nothing was changed)").name
    _refuse_name_of_another(folder, key, name)
    if path.exists() and path.read_text(encoding="utf-8") != text:
        _to_archive(folder, key, path.read_bytes())
    _write(path, text.encode())
    return path


def put_away(folder: Path, key: str) -> Path:
    """Moves a profile of one's own to the archive, and says where it is now."""
    if key not in own(folder):
        of_ours = key in shipped()
        raise UsageError(
            f"The profile {key} came with boretight; it cannot be removed." if of_ours else f"There is no {key!r}.",
            "`boretight engine list` shows which are your own.",
        )
    path = own(folder)[key]
    kept = _to_archive(folder, key, path.read_bytes())
    with storage_errors(path, "remove the profile"):
        path.unlink()
    return kept


def _refuse_name_of_another(folder: Path, key: str, name: str) -> None:
    """Tests are kept under the name: two engines of one name would be one engine in their history."""
    for other in list_engines(folder):
        if other.own and other.key != key and other.profile is not None and other.profile.name == name:
            raise UsageError(f"The profile {other.key} is called {name!r} already.", "Give this one another name.")


def _to_archive(folder: Path, key: str, content: bytes) -> Path:
    now = datetime.now(UTC)
    path = folder / ARCHIVE / f"{key}-{now:%Y%m%dT%H%M%S.%fZ}{SUFFIX}"
    _write(path, content)
    return path


def _write(path: Path, content: bytes) -> None:
    """Whole or not at all, also when the power goes."""
    draft = path.with_name(f".{path.name}.new")
    with storage_errors(path, "write the profile"):
        path.parent.mkdir(parents=True, exist_ok=True)
        with draft.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
