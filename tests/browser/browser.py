"""A bench with its page, and a real browser that looks at it."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright

from tests.end_to_end.bench import PATIENCE_S, Bench, Running
from tests.suites.brokers import free_port

CHROMIUM = "chromium"
MISSING = "There is no Chromium to look at the page with. Next, on Debian as root: apt-get install chromium"
LATE = """\
like = "{like}"
title = "The same, after a while"
about = "A board that waits, so that hands have the time to start a test."
tail_s = 100000.0
[script]
lead_in_s = {lead_in_s}
"""


def chromium(playwright: Playwright) -> Browser:
    """Debian's own, without a sandbox where we are root: it opens pages of this test alone."""
    path = shutil.which(CHROMIUM)
    assert path is not None, MISSING
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    return playwright.chromium.launch(executable_path=path, args=[*root, "--autoplay-policy=user-gesture-required"])


@dataclass
class PageBench(Bench):
    """A bench whose page keeps its port over restarts."""

    page_port: int = field(default_factory=free_port)

    @property
    def env(self) -> dict[str, str]:
        return super().env | {"BORETIGHT_PAGE__PORT": str(self.page_port)}

    @property
    def page_link(self) -> str:
        """As the daemon has left it for `boretight page`."""
        return (self.storage / "page-link").read_text().strip()

    def served(self, *options: object) -> Running:
        """A daemon whose page can be opened."""
        daemon = self.daemon(*options)
        daemon.until(lambda: (self.storage / "page-link").exists(), "a page")
        return daemon

    def late(self, like: str, lead_in_s: float) -> Path:
        """A built-in scenario that begins after a while, and whose board goes on after its end."""
        path = self.folder / f"late-{like}.toml"
        path.write_text(LATE.format(like=like, lead_in_s=lead_in_s), encoding="utf-8")
        return path


@dataclass
class Looker:
    """Somebody who looks at a page. What the browser complains of is kept: a page in order gives no cause."""

    page: Page
    complaints: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _heard(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def text(self, selector: str) -> str:
        return self.page.locator(selector).inner_text().replace("\u2007", " ").strip()

    @property
    def state(self) -> str:
        return self.text("#state")

    @property
    def loss(self) -> str:
        return self.text("#loss")

    def until(self, condition: Callable[[], object], what: str) -> None:
        """Wait for what must come; by looking again and again, since the page lets nobody evaluate text in it."""
        last_s = time.monotonic() + PATIENCE_S
        while not condition():
            assert time.monotonic() < last_s, f"never came: {what}. The page says:\n{self.page.inner_text('body')}"
            self.page.wait_for_timeout(50)

    def until_state(self, *states: str) -> None:
        self.until(lambda: self.state.upper() in states, f"one of {states}")


@contextmanager
def looking(browser: Browser, link: str, **context: Any) -> Iterator[Looker]:
    """A page that is opened by its link, as anybody opens it."""
    opened = browser.new_context(**context)
    try:
        looker = Looker(opened.new_page())
        looker.page.goto(link)
        yield looker
    finally:
        opened.close()
