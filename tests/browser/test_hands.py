"""Steered by touch, and by the keyboard alone, to the report of the test."""

from __future__ import annotations

import re

from playwright.sync_api import Browser

from tests.browser.browser import Looker, PageBench, looking

SPEED = 20.0
LEAD_IN_S = 300.0


def ready(bench: PageBench) -> None:
    """A board that begins when hands have had the time to start a test."""
    bench.board(bench.late("four-debris", LEAD_IN_S), SPEED)
    bench.served()


def steered(bench: PageBench) -> list[str]:
    rows = bench.rows("SELECT json_extract(detail, '$.kind') AS kind FROM event WHERE kind = 'marked' ORDER BY id")
    return [row["kind"] for row in rows]


def see_the_report(page: Looker, bench: PageBench, marks: list[str]) -> None:
    """All four cylinders, in the page and in the report that it leads to."""
    page.until(lambda: page.page.locator(".verdict.sound").count() == 4, "four verdicts")
    page.until(lambda: page.text("#wanted").startswith("All cylinders done"), "the end of the test")
    page.until(lambda: len(bench.results()) == 4 and steered(bench) == marks, "that all of it is stored")
    page.page.locator("#report").focus()
    page.page.keyboard.press("Enter")
    page.until(lambda: "Where the air goes" in page.page.inner_text("body"), "the report")
    assert "invented four" in page.page.inner_text("h1")
    # Which cylinder it was depends on how quick the hand was, at twenty times the pace of a hand.
    assert re.search(r"Cylinder [1-4]: (a little|clearly) air at the exhaust", page.page.inner_text("body"))
    assert page.complaints == []


def test_touch_steers_a_test_to_its_report(browser: Browser, bench: PageBench) -> None:
    ready(bench)
    with looking(browser, bench.page_link, has_touch=True, viewport={"width": 800, "height": 1280}) as page:
        touch = page.page
        touch.locator("[data-opens=begin]").tap()
        touch.get_by_text("Hot", exact=True).tap()
        touch.locator("#begin [name=by]").fill("kim")
        touch.get_by_text("All of this is so").last.tap()
        touch.locator("#begin [value=start]").tap()
        page.until(lambda: "Connect cylinder 1" in page.text("#wanted"), "the first cylinder")
        page.until(lambda: page.text("#interval").startswith("Captured"), "a capture")
        touch.locator("[data-opens=hiss]").tap()
        touch.get_by_text("Faint").tap()
        touch.locator("#hiss [value=exhaust]").tap()
        page.until(lambda: "exhaust, faint" in page.text("#rows"), "what was heard")
        touch.locator("[data-opens=hiss]").tap()
        touch.get_by_text("Plug hole 2").tap()
        page.until(lambda: "next cylinder 2, clear" in page.text("#rows"), "the plug hole")
        touch.locator("[data-opens=hiss]").tap()
        touch.locator("#rocked label").nth(2).tap()
        touch.get_by_text("The loss changed").tap()
        page.until(lambda: "Mark: rocked 4: changed" in page.text("#log"), "what rocking did to the third of the order")
        see_the_report(page, bench, ["start", "heard", "heard", "rocked"])


def test_the_keyboard_alone_steers_a_test_to_its_report(browser: Browser, bench: PageBench) -> None:
    ready(bench)
    with looking(browser, bench.page_link) as page:
        keys = page.page.keyboard
        tab_to(page, "[data-opens=begin]")
        keys.press("Enter")
        page.until(lambda: page.page.locator("#begin[open]").count() == 1, "the question")
        tab_to(page, "#begin [name=by]")
        keys.type("sam")
        tab_to(page, "#begin [name=acknowledged]")
        keys.press("Space")
        tab_to(page, "#begin [value=start]")
        keys.press("Enter")
        page.until(lambda: "Connect cylinder 1" in page.text("#wanted"), "the first cylinder")
        page.until(lambda: page.text("#interval").startswith("Captured"), "a capture")
        tab_to(page, "[data-opens=hiss]")
        keys.press("Enter")
        tab_to(page, "#hiss [value=exhaust]")
        keys.press("Enter")
        page.until(lambda: "exhaust, clear" in page.text("#rows"), "what was heard")
        tab_to(page, "[data-opens=hiss]")
        keys.press("Enter")
        tab_to(page, "#hiss [name=words]")
        keys.press("Enter")
        tab_to(page, "#hiss [value='rocked same']")
        keys.press("Enter")
        page.until(lambda: re.search("Mark: rocked [1-4]: same", page.text("#log")), "what rocking did not do")
        see_the_report(page, bench, ["start", "heard", "rocked"])


def tab_to(page: Looker, selector: str) -> None:
    """Only with the Tab key, which must get there, and with a focus that is seen."""
    for _ in range(60):
        if page.page.locator(f"{selector}:focus").count():
            return
        page.page.keyboard.press("Tab")
    raise AssertionError(f"Tab never came to {selector}")


def test_rocking_is_told_of_the_cylinder_that_was_measured_last(browser: Browser, bench: PageBench) -> None:
    """Under air the one with a reading, between two the one before; only where it means something."""
    bench.board(bench.lasting("four-debris"), 4.0)
    bench.served()
    with looking(browser, bench.page_link) as page:
        for state in ("Captured", "Connect cylinder 3"):
            page.until(lambda state=state: page.text("#wanted").startswith(state), state)
            page.page.locator("[data-opens=hiss]").click()
            assert page.page.locator("#rocked :checked").get_attribute("value") == "1"
            buttons = page.page.locator("#hiss [data-needs=rocked]")
            assert [each.get_attribute("aria-disabled") for each in buttons.all()] == ["false", "false"]
            assert min(each.bounding_box()["height"] for each in buttons.all()) >= 44  # Ref: WCAG 2.2, 2.5.5
            page.page.keyboard.press("Escape")
        page.page.locator("[data-opens=end]").click()
        page.page.locator("#end [value=finish]").click()
        page.until(lambda: page.text("#wanted").startswith("Test finished. Without cylinders 3,"), "the end")
        page.page.locator("[data-opens=hiss]").click()
        assert buttons.first.get_attribute("aria-disabled") == "true"
        buttons.first.click(force=True)
        page.until(lambda: "`rocked` means nothing now: the test is done." in page.text("#answer"), "why not")


def test_undo_can_be_pressed_while_there_is_something_to_take_back(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.late("four-debris", 100_000.0), SPEED)
    bench.served()
    with looking(browser, bench.page_link) as page:
        undo = page.page.locator("[data-verb=undo]")

        def able(so: bool) -> None:
            page.until(lambda: undo.get_attribute("aria-disabled") == str(not so).lower(), f"undo: {so}")

        page.until(lambda: page.page.locator("[data-verb=next][aria-disabled=false]").count() == 1, "the test")
        able(False)
        undo.click(force=True)
        page.until(lambda: "no result, skip or finding" in page.text("#answer"), "why not")
        page.page.locator("[data-opens=hiss]").click()
        page.page.locator("#hiss [value=exhaust]").click()
        able(True)
        undo.click()
        able(False)
        page.until(lambda: steered(bench) == ["heard", "undo"], "that it is stored")


def test_a_foot_on_the_switch_is_next(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.late("four-debris", 100_000.0), SPEED)
    bench.served()
    with looking(browser, bench.page_link) as page:
        page.until(lambda: page.page.locator("[data-verb=next][aria-disabled=false]").count() == 1, "the test")
        for number, key in enumerate(("Space", "Enter", "PageDown"), 1):
            page.page.keyboard.press(key)
            page.until(lambda number=number: steered(bench) == ["next"] * number, f"{key} as next")
            page.page.wait_for_timeout(600)  # a foot is no drum stick: it rests longer than the page waits
        page.page.locator("[data-verb=skip]").click()  # a finger leaves no focus that would catch the foot
        page.until(lambda: steered(bench)[-1] == "skip", "skip")
        page.page.keyboard.press("Space")
        page.until(lambda: steered(bench)[-1] == "next", "the foot again")


def test_a_foot_as_quick_as_the_page_counts(browser: Browser, bench: PageBench) -> None:
    """The rest between two steps counts from a step, not from when the page was opened."""
    bench.board(bench.late("four-debris", 100_000.0), SPEED)
    bench.served()
    with looking(browser, bench.page_link) as page:
        page.page.add_init_script("performance.now = () => 100")
        page.page.reload()
        page.until(lambda: page.page.locator("[data-verb=next][aria-disabled=false]").count() == 1, "the test")
        page.page.keyboard.press("Space")
        page.until(lambda: steered(bench) == ["next"], "next")


def test_what_makes_no_sense_is_refused_in_words(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.late("four-debris", 100_000.0), SPEED)
    bench.served()
    with looking(browser, bench.page_link) as page:
        again = page.page.locator("[data-verb=acknowledge]")
        pause = page.page.locator("#pause")
        pause.click()
        page.until(lambda: pause.inner_text() == "Go on", "a pause")
        page.page.locator("[data-verb=skip]").click(force=True)
        page.until(lambda: "means nothing now: the test is paused" in page.text("#answer"), "why not")
        assert not again.is_visible()


def test_a_pause_keeps_the_capture_and_an_end_under_air_asks_to_vent(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.lasting("steady"), 1.0)
    bench.served()
    with looking(browser, bench.page_link) as page:
        page.until(lambda: page.text("#interval").startswith("Captured"), "a capture")
        page.page.locator("#pause").click()
        page.until(lambda: page.text("#wanted") == "Paused. Go on when you are ready", "a pause")
        assert (page.state, page.text("#interval")[:8]) == ("Stable", "Captured")
        page.page.locator("[data-opens=end]").click()
        page.page.locator("#end [value=finish]").click()
        page.until(lambda: page.text("#wanted").endswith(". Vent the air"), "the end")
        assert (page.state, page.loss, page.text("#interval")) == ("Air on", "-.-", "Still under air")


def test_who_does_not_know_the_token_may_look_only(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.lasting("steady"), 1.0)
    bench.served()
    with looking(browser, f"http://127.0.0.1:{bench.page_port}/") as page:
        page.until_state("STABLE")
        assert not page.page.locator("#buttons").is_visible()
        assert "open the link" in page.text("#closed")
        page.page.keyboard.press("Space")
        page.page.wait_for_timeout(300)
    assert bench.kinds() and steered(bench) == []


def test_tones_come_after_one_touch_and_captions_always(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.lasting("four-debris"), SPEED / 4)
    bench.served()
    with looking(browser, bench.page_link) as page:
        page.page.evaluate(
            """() => { window.tones = 0; const start = OscillatorNode.prototype.start;
            OscillatorNode.prototype.start = function (...at) { window.tones += 1; return start.apply(this, at); } }"""
        )
        page.until(lambda: page.text("#caption"), "a caption")
        assert page.page.evaluate("window.tones") == 0
        page.page.locator("#sound").click()
        page.until(lambda: page.page.evaluate("window.tones") > 1, "tones of a cue")
        assert page.page.locator("#sound").get_attribute("aria-pressed") == "true"
