"""What is around a document when it is shown: the head, the way to the other pages, and what it may do."""

from __future__ import annotations

import base64
import hashlib
import re
from html import escape

from daq.sinks.page.documents import Document

LIVE, ENGINES, TESTS, CALIBRATION = "", "engines", "tests", "calibration"
PLACES = ((LIVE, "Live"), (TESTS, "Tests"), (ENGINES, "Engines"), (CALIBRATION, "Calibration"))
_STYLE = re.compile(r"<style[^>]*>(.*?)</style>", re.DOTALL)


def shell(document: Document, bench: str, place: str) -> str:
    """The whole of a page: where one is, and the way to the others."""
    ways = "".join(
        f'<a href="/{path}"{" aria-current=page" if path == place else ""}>{escape(word)}</a>' for path, word in PLACES
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(document.title)} · {escape(bench)}</title>\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="icon" href="/assets/icon.svg"><link rel="stylesheet" href="/assets/page.css">'
        '<script src="/assets/theme.js"></script></head>\n'
        f'<body class="book"><header class="top"><b>{escape(bench)}</b><nav aria-label="Pages">{ways}</nav></header>\n'
        f"<main><h1>{escape(document.title)}</h1>\n{document.body}</main></body></html>\n"
    )


def policy_of(document: str) -> str:
    """For a document with a style of its own: just that style, by its hash, and nothing that runs.

    Ref: W3C Content Security Policy 3, 2.3.1, hash-source.
    """
    digests = (hashlib.sha256(style.encode()).digest() for style in _STYLE.findall(document))
    hashes = " ".join(f"'sha256-{base64.b64encode(digest).decode()}'" for digest in digests)
    return (
        f"default-src 'none'; style-src {hashes or chr(39) + 'none' + chr(39)}; img-src 'self' data:; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
