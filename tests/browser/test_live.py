"""The live page in a real browser: what comes is shown, and what does not come is never shown as if it had."""

from __future__ import annotations

import re
import signal

from playwright.sync_api import Browser

from tests.browser.browser import PageBench, looking

SPEED = 4.0


def test_numbers_arrive_and_words_go_with_them(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.lasting("four-debris"), SPEED)
    bench.served()
    with looking(browser, bench.page_link) as page:
        page.until_state("STABLE")
        page.until(lambda: re.fullmatch(r"\d{1,2}\.\d", page.loss), "a loss")
        page.until(lambda: "±" in page.text("#interval"), "an interval")
        assert re.search(r"\d psi\s+held at 100\.0", page.text(".supply"))
        first = page.text(".supply")
        page.until(lambda: page.text(".supply") != first, "another pressure")
        rows = page.page.locator("#rows th").all_inner_texts()
        assert [row.split()[0] for row in rows] == ["1", "3", "4", "2"]
        assert page.page.locator("#plot canvas").count() == 1
        assert page.text("#health-line") == "up" and "Simulated" in page.text("#health-board")
        assert "not paired" in page.text("#health-calibration")
        page.until(lambda: page.text("#health-broker") == "connected", "the broker")
        assert page.complaints == []


def test_no_page_holds_the_flow_up_and_all_see_the_same(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.lasting("four-debris"), SPEED)
    bench.served()
    with looking(browser, bench.page_link) as one, looking(browser, bench.page_link) as other:
        for page in (one, other):
            page.until(lambda page=page: page.page.locator(".verdict.sound").count() == 4, "four verdicts")
        assert one.text("#rows") == other.text("#rows")


def test_a_silent_board_looks_stale_within_seconds(browser: Browser, bench: PageBench) -> None:
    board = bench.board(bench.lasting("steady"), 1.0)
    bench.served()
    with looking(browser, bench.page_link) as page:
        page.until_state("STABLE")
        board.process.send_signal(signal.SIGSTOP)
        page.until_state("STALE")
        assert page.loss == "-.-"
        assert re.match(r"Last \d+\.\d %, \d+ s ago", page.text("#interval"))
        page.until(lambda: "Old data" in page.text("#wanted"), "words for it")
        assert page.page.locator("#shape").get_attribute("href") == "#shape-STALE"
        assert "-" in page.text("#supply") and not re.search(r"\d", page.text("#supply"))
        board.process.send_signal(signal.SIGCONT)
        page.until_state("STABLE", "SETTLING")


def test_a_board_that_is_unplugged_is_told(browser: Browser, bench: PageBench) -> None:
    board = bench.board(bench.lasting("steady"), 1.0)
    bench.served()
    with looking(browser, bench.page_link) as page:
        page.until_state("STABLE")
        board.end()
        page.until(lambda: page.text("#wanted") == "No board on the line", "no board")
        assert page.state == "Stale" and page.loss == "-.-"


def test_the_page_outlives_the_daemon_and_shows_what_it_missed_as_missed(browser: Browser, bench: PageBench) -> None:
    bench.board(bench.lasting("steady"), 1.0)
    daemon = bench.served()
    with looking(browser, bench.page_link) as page:
        page.until_state("STABLE")
        daemon.end(signal.SIGKILL)
        page.until(lambda: "lost the bench" in page.text("#wanted"), "that the bench is lost")
        assert page.state == "Stale" and page.loss == "-.-" and "lost" in page.text("#health-page")
        bench.served()
        page.until_state("STABLE")
        assert "Missed" in page.text("#log .missed")
        assert page.text("#health-page") == "connected"
        page.page.locator("[data-verb=pause]").click()  # and it may still steer
        page.until(lambda: page.text("#answer").startswith("Done"), "an answer")


CRANK = """
title = "A crank that is knocked away"
about = "An invented engine with one cylinder. After its reading somebody knocks the crank off top dead centre."
endless = true
[engine]
name = "Demonstration Single (invented)"
order = [1]
[[cylinder]]
number = 1
leaks_mm2 = { crankcase = 0.3126, intake = 0.040, exhaust = 0.060 }
[[action]]
do = "connect"
cylinder = 1
at_s = 0.5
[[action]]
do = "air"
after_s = 0.5
[[action]]
do = "crank"
to_deg = 25.0
after_s = 20.0
"""


def test_a_crank_that_moves_is_an_alarm_for_eyes_and_ears(browser: Browser, bench: PageBench) -> None:
    scenario = bench.folder / "crank.toml"
    scenario.write_text(CRANK, encoding="utf-8")
    bench.board(scenario, 2.0)
    bench.served()
    with looking(browser, bench.page_link) as page:
        page.until(lambda: page.state == "Alarm", "an alarm")
        page.until(lambda: page.text("#wanted") == "Crank moved: vent the air now", "what to do")
        assert page.page.locator("#shape").get_attribute("href") == "#shape-ALARM"
        assert "Crank moved. Vent the air." in page.text("#alarm")
        assert "crank moved" in page.text("#faults").lower()


def test_names_are_text_and_never_markup(browser: Browser, bench: PageBench) -> None:
    name = "<img src=x onerror=alert(1)><b>bold</b>"
    config = bench.config
    config.write_text(config.read_text().replace("invented four", name))
    bench.board(bench.lasting("steady"), 1.0)
    daemon = bench.start("boretight", "run", "--config", config, "--no-screen", "--port", bench.link)
    daemon.until(lambda: (bench.storage / "page-link").exists(), "a page")
    with looking(browser, bench.page_link) as page:
        page.until(lambda: page.text("#engine") == name, "the name")
        for path in ("tests", "engines", "calibration"):
            page.page.goto(f"http://127.0.0.1:{bench.page_port}/{path}")
            assert page.page.locator("img").count() == 0
        assert page.complaints == []
