"""What stands behind the live page: pages of stored things. Who makes them is told from above.

`Books` answers a path such as `tests/last`; it may read files and the database, so it is asked in a thread. It raises
UsageError for what there is not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Document:
    """`body` is markup, all text in it escaped. `whole`: a document that stands by itself, with its own style.

    `data` instead of `body` for what is no page: bytes of `media_type`.
    """

    title: str
    body: str = ""
    whole: bool = False
    data: bytes = b""
    media_type: str = "text/html"


@dataclass(frozen=True, slots=True)
class Books:
    """`page` gives the document of a path, None if there is none; `choices` what a test can be started with, as JSON
    can say it."""

    page: Callable[[str], Document | None] = lambda path: None
    choices: Callable[[], dict[str, Any]] = field(default=dict)
