"""What eyes and ears of all kinds need: sizes, contrast, zoom, motion, a screen reader."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from tests.browser.browser import Looker, PageBench, looking

VENDOR = Path(__file__).parent / "vendor"
AXE_SHA256 = "29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c"
SIZES = [(320, 640), (844, 390), (800, 1280), (1280, 800), (3840, 2160)]
GLANCE = (".hero", "#state", "#wanted", "#supply", "#interval")
PX_PER_MM = 96 / 25.4
TAPS = """() => [...document.querySelectorAll('#buttons button')].map((each) => {
    const { width, height } = each.getBoundingClientRect(); return Math.min(width, height); })"""

PLACES = """async () => { const { lossText } = await import('/assets/words.js');
    const loss = document.getElementById('loss');
    return [28.9, 8.9, 0.04, null].map((value) => {
        loss.textContent = lossText(value);
        const { left, right } = loss.getBoundingClientRect();
        return [left, right]; }); }"""
MOVING = """() => document.getAnimations().length + [...document.querySelectorAll('*')]
    .filter((each) => parseFloat(getComputedStyle(each).transitionDuration) > 0).length"""


@pytest.fixture
def steady(bench: PageBench) -> PageBench:
    bench.board(bench.lasting("four-debris"), 4.0)
    bench.served()
    return bench


def shown_whole(page: Looker, selector: str) -> bool:
    box, size = page.page.locator(selector).bounding_box(), page.page.viewport_size
    assert box is not None and size is not None
    return box["x"] >= 0 and box["x"] + box["width"] <= size["width"] and box["y"] + box["height"] <= size["height"]


def no_wider_than_the_screen(page: Looker) -> bool:
    return bool(page.page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_one_glance_is_enough_at_every_size(
    browser: Browser, steady: PageBench, width: int, height: int, tmp_path: Path
) -> None:
    with looking(browser, steady.page_link, viewport={"width": width, "height": height}) as page:
        page.until_state("STABLE")
        page.page.screenshot(path=tmp_path / f"{width}x{height}.png")
        assert [each for each in GLANCE if not shown_whole(page, each)] == []
        assert no_wider_than_the_screen(page)
        assert min(page.page.evaluate(TAPS)) >= 44  # Ref: WCAG 2.2, 2.5.5, target size (enhanced)
        assert shown_whole(page, "[data-verb=next]")


@pytest.mark.parametrize(("width", "height"), [(800, 1280), (1280, 800)])
def test_the_loss_is_forty_millimetres_high_on_a_tablet(
    browser: Browser, steady: PageBench, width: int, height: int
) -> None:
    with looking(browser, steady.page_link, viewport={"width": width, "height": height}) as page:
        page.until_state("STABLE")
        high_px = page.page.evaluate(
            """() => { const pen = document.createElement('canvas').getContext('2d');
            const style = getComputedStyle(document.querySelector('.hero'));
            pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
            return pen.measureText('8').actualBoundingBoxAscent; }"""
        )
        assert high_px / PX_PER_MM >= 40


def test_digits_do_not_jump(browser: Browser, steady: PageBench) -> None:
    with looking(browser, steady.page_link) as page:
        page.until_state("STABLE")
        places = page.page.evaluate(PLACES)
        for place in places[1:3]:
            assert place == pytest.approx(places[0], abs=0.5)


def test_twice_as_large_nothing_is_lost(browser: Browser, steady: PageBench) -> None:
    """Zoom 200 % of 1280 x 1024 leaves 640 x 512. Ref: WCAG 2.2, 1.4.4 and 1.4.10."""
    with looking(browser, steady.page_link, viewport={"width": 640, "height": 512}, device_scale_factor=2) as page:
        page.until_state("STABLE")
        assert no_wider_than_the_screen(page)
        for selector in (*GLANCE, "[data-verb=next]", "#rows", "#plot"):
            page.page.locator(selector).scroll_into_view_if_needed()
            assert page.page.locator(selector).is_visible()


def test_who_wants_no_motion_gets_none(browser: Browser, steady: PageBench) -> None:
    with looking(browser, steady.page_link, reduced_motion="reduce") as page:
        page.until_state("STABLE")
        assert page.page.evaluate(MOVING) == 0


def test_a_screen_reader_hears_results_and_not_the_stream(browser: Browser, steady: PageBench) -> None:
    with looking(browser, steady.page_link) as page:
        page.page.evaluate(
            """() => { window.heard = []; window.seen = 0;
            const live = (node) => node.parentElement?.closest('[aria-live], [role=status], [role=alert]');
            new MutationObserver((changes) => { for (const change of changes) {
                const node = change.target.nodeType === 1 ? change.target.firstChild ?? change.target : change.target;
                const place = live(node); if (place) window.heard.push(place.textContent); else window.seen += 1; } })
            .observe(document.body, { subtree: true, childList: true, characterData: true }); }"""
        )
        page.until(lambda: any("stable" in text for text in page.page.evaluate("window.heard")), "a result")
        heard, seen = page.page.evaluate("[window.heard, window.seen]")
        assert all(text.startswith("Cylinder") and "percent, stable" in text for text in heard if text)
        assert seen > 10 * len(heard)


def violations(page: Looker, what: str) -> list[str]:
    """What axe finds, AAA contrast included. Ref: WCAG 2.2."""
    page.page.evaluate((VENDOR / "axe.js").read_text(encoding="utf-8"))
    rules = {"color-contrast-enhanced": {"enabled": True}}
    found: dict[str, Any] = page.page.evaluate("(options) => axe.run(document, options)", {"rules": rules})
    return [
        f"{what}: {each['id']}: {node['html'][:120]} {node['failureSummary'][:200]}"
        for each in found["violations"]
        for node in each["nodes"]
    ]


def test_axe_is_the_one_that_was_published() -> None:
    assert hashlib.sha256((VENDOR / "axe.js").read_bytes()).hexdigest() == AXE_SHA256
    assert "Mozilla Public License" in (VENDOR / "axe.licence.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("colours", ["light", "dark"])
def test_axe_finds_nothing(browser: Browser, steady: PageBench, colours: str) -> None:
    with looking(browser, steady.page_link, color_scheme=colours) as page:
        page.until(lambda: page.page.locator(".verdict.sound").count() > 1, "verdicts")
        found = violations(page, "live")
        for name in ("hiss", "begin", "end"):
            page.page.locator(f"[data-opens={name}]").click()
            page.until(lambda name=name: page.page.locator(f"#{name}[open]").count(), name)
            found += violations(page, name)
            page.page.keyboard.press("Escape")
        for path in ("tests", "engines", "calibration", "history/invented%20four"):
            page.page.goto(f"http://127.0.0.1:{steady.page_port}/{path}")
            found += violations(page, path)
        assert found == []


def test_axe_finds_nothing_where_the_cautions_stand_and_in_an_alarm(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.late("four-debris", 100_000.0), 20.0)
    bench.served()
    with looking(browser, bench.page_link) as page:
        page.page.locator("[data-opens=begin]").click()
        page.page.locator("#begin [value=start]").click()
        page.until(lambda: page.page.locator("#cautions").is_visible(), "the cautions")
        assert violations(page, "cautions") == []
        page.page.locator(".cautions button").click()
        page.until(lambda: not page.page.locator("#cautions").is_visible(), "that they are acknowledged")
        page.page.evaluate("document.body.setAttribute('data-alarm', '')")
        assert violations(page, "alarm") == []
