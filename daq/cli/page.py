"""`boretight page`: the link to the live page of a running bench, and the same as a QR code for a phone."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TextIO
from urllib.parse import urlsplit

from daq.cli.output import print_json
from daq.config import load
from daq.errors import UnavailableError
from daq.sinks.page.settings import LOOPBACK

WHITE_ON_BLACK, PLAIN = "\x1b[97;40m", "\x1b[0m"


def page(config_path: Path | None, as_json: bool) -> None:
    """Raises UnavailableError if no daemon serves a page."""
    path = load(config_path).storage.page_link
    try:
        link = path.read_text(encoding="ascii").strip()
    except OSError as error:
        raise UnavailableError(
            "No page is served by this bench now.", "Start it with `boretight run`.", str(error)
        ) from error
    if as_json:
        print_json({"link": link})
    else:
        tell_page(link)


def tell_page(link: str, out: TextIO | None = None) -> None:
    """A QR code only where a phone could open it, and where there is a terminal to show it on."""
    out = out or sys.stdout
    print(f"Page {link}", file=out, flush=True)
    if urlsplit(link).hostname != LOOPBACK and out.isatty():
        out.write(qr_code(link))
        out.flush()


def qr_code(text: str) -> str:
    """Half blocks, dark on light whatever the colours of the terminal are. Ref: ECMA-48, 8.3.117, SGR."""
    import io

    import segno

    drawn = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out=drawn, compact=True)
    return "".join(f"{WHITE_ON_BLACK}{line}{PLAIN}\n" for line in drawn.getvalue().splitlines())
