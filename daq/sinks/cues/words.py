"""The words of cues in another language: a TOML file with a line for each, `captured = "Zylinder {cylinder} ..."`."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from daq.errors import ConfigError
from daq.procedure.cues import WORDS
from daq.records import Cue


@dataclass(frozen=True, slots=True)
class Phrases:
    """What is said for a cue; one that is not translated is said in English. Empty words keep it silent."""

    words: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def read(cls, path: Path) -> Phrases:
        """Raises ConfigError that names the cue and the value that there is not."""
        try:
            words = tomllib.loads(path.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            todo = "Name a TOML file with a line for each cue."
            raise ConfigError(f"The words of the cues cannot be read from {path}.", todo, str(error)) from error
        faults = [fault for name, text in words.items() if (fault := _fault(name, text))]
        if faults:
            raise ConfigError(f"The words of the cues in {path} are wrong.", "Correct them.", "; ".join(faults))
        return cls(words)

    def of(self, cue: Cue) -> str:
        text = self.words.get(cue.cue)
        return cue.text if text is None else text.format(**cue.values)


def _fault(name: str, text: object) -> str:
    if name not in WORDS:
        return f"there is no cue {name}"
    if not isinstance(text, str):
        return f"{name}: not a text"
    try:
        wanted = {place for _, place, _, _ in string.Formatter().parse(text) if place is not None}
    except ValueError as error:
        return f"{name}: {error}"
    there = {place for _, place, _, _ in string.Formatter().parse(WORDS[name][1]) if place is not None}
    if unknown := sorted(wanted - there):
        return f"{name}: there is no value {{{unknown[0]}}}"
    return _unfit(name, text, there)


def _unfit(name: str, text: str, places: set[str]) -> str:
    """The values are texts: `{loss:d}` would be found out only when it is to be said."""
    try:
        text.format(**dict.fromkeys(places, "1"))
    except (ValueError, LookupError) as error:
        return f"{name}: {error}"
    return ""
