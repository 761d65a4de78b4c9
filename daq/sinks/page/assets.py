"""The files that a browser gets, read once and pressed once. No build step: they are as they were written."""

from __future__ import annotations

import gzip
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

TYPES = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "txt": "text/plain; charset=utf-8",
}


@dataclass(frozen=True, slots=True)
class Asset:
    content: bytes
    pressed: bytes
    tag: str
    media_type: str


@cache
def assets() -> dict[str, Asset]:
    """By name."""
    return dict(_read())


def _read() -> Iterator[tuple[str, Asset]]:
    for file in files("daq.sinks.page").joinpath("assets").iterdir():
        media_type = TYPES.get(file.name.rpartition(".")[2])
        if media_type is not None:
            content = file.read_bytes()
            tag = f'"{hashlib.sha256(content).hexdigest()[:16]}"'
            yield file.name, Asset(content, gzip.compress(content, 9, mtime=0), tag, media_type)
