from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browser.browser import PageBench, chromium


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Not for longer than a module: its driver keeps an event loop running in this thread, where other tests want
    one of their own."""
    with sync_playwright() as playwright:
        opened = chromium(playwright)
        yield opened
        opened.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    bench = PageBench(tmp_path)
    yield bench
    for program in bench.programs:
        print(program.said)  # shown where a test failed: a page cannot say why its daemon is gone
    bench.close()
