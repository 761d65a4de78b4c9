from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browser.browser import PageBench, chromium


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        opened = chromium(playwright)
        yield opened
        opened.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    bench = PageBench(tmp_path)
    yield bench
    bench.close()
