"""The page as a program meets it: its link, its stream, a command, and how it ends; no browser needed."""

from __future__ import annotations

import json
import signal
import stat
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from daq.records import Mark
from daq.sinks.raw_log import read_raw_log
from tests.end_to_end.bench import PATIENCE_S, Bench, Running


def link_of(bench: Bench) -> str:
    return (bench.storage / "page-link").read_text().strip()


def served(bench: Bench, *options: object) -> Running:
    (bench.storage / "page-link").unlink(missing_ok=True)
    daemon = bench.daemon(*options)
    daemon.until((bench.storage / "page-link").exists, "a page")
    return daemon


@contextmanager
def stream(bench: Bench) -> Iterator[HTTPResponse]:
    parts = urlsplit(link_of(bench))
    with closing(HTTPConnection(parts.hostname or "", parts.port, timeout=PATIENCE_S)) as connection:
        connection.request("GET", "/stream")
        yield connection.getresponse()


def told(answer: HTTPResponse, wanted: str) -> Iterator[Any]:
    """The content of each message of this name, as it comes."""
    name = ""
    while line := answer.readline().decode():
        field, _, value = line.rstrip("\n").partition(": ")
        if field == "event":
            name = value
        elif field == "data" and name == wanted:
            yield json.loads(value)


def command(bench: Bench, verb: str, token: str, **content: object) -> dict[str, Any]:
    parts = urlsplit(link_of(bench))
    body = {"id": verb, "deadline": (datetime.now(UTC) + timedelta(minutes=1)).isoformat(), **content}
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    request = urllib.request.Request(
        f"http://{parts.netloc}/command/{verb}", json.dumps(body).encode(), headers, method="POST"
    )
    with urllib.request.urlopen(request, timeout=PATIENCE_S) as answer:
        reply: dict[str, Any] = json.load(answer)
    return reply


def test_the_link_is_told_and_kept_while_it_is_good(bench: Bench) -> None:
    bench.board(bench.lasting("steady"), 1.0)
    daemon = served(bench)
    link = link_of(bench)
    daemon.until(lambda: f"Page {link}" in daemon.said, "the link")
    assert bench.run("page", "--config", bench.config).stdout == f"Page {link}\n"
    for name in ("page-link", "page-token"):
        assert stat.S_IMODE((bench.storage / name).stat().st_mode) == 0o600
    with stream(bench) as answer:
        assert next(told(answer, "hello"))["bench"] == "garage"
        assert daemon.end() == 0  # with a page open
    assert not (bench.storage / "page-link").exists()
    assert bench.run("page", "--config", bench.config).returncode == 69


def test_a_program_may_steer_by_the_token_and_it_is_a_mark_like_any_other(bench: Bench) -> None:
    bench.board(bench.lasting("steady"), 1.0)
    daemon = served(bench)
    token = parse_qs(urlsplit(link_of(bench)).query)["token"][0]
    assert command(bench, "note", token, text="oil cap off")["status"] == "accepted"
    marked = "SELECT json_extract(detail, '$.text') AS text FROM event WHERE kind = 'marked'"
    daemon.until(lambda: [row["text"] for row in bench.rows(marked)] == ["oil cap off"], "the mark")
    assert daemon.end() == 0
    assert any(isinstance(item, Mark) and item.text == "oil cap off" for item in read_raw_log(bench.raw_logs[0]))


def test_a_test_that_was_broken_off_is_on_the_sheet_again(bench: Bench) -> None:
    bench.board(bench.lasting("four-debris"), 10.0)
    daemon = served(bench)
    daemon.until(lambda: len(bench.results()) >= 2, "two cylinders")
    daemon.end(signal.SIGKILL)
    done = {row["cylinder"]: row["as_found_loss_at_set_pct"] for row in bench.results()}
    served(bench)
    with stream(bench) as answer:
        sheet = next(told(answer, "sheet"))
    rows = {row["cylinder"]: row for row in sheet["rows"]}
    for cylinder, loss_pct in done.items():
        assert rows[cylinder]["as_found"][0] == pytest.approx(loss_pct, abs=0.001)
        assert rows[cylinder]["state"] == "done"


def test_two_benches_of_one_computer_have_a_page_each(bench: Bench, tmp_path: Path) -> None:
    other = Bench(tmp_path / "other")
    other.folder.mkdir()
    try:
        for each in (bench, other):
            each.board(each.lasting("steady"), 1.0)
            served(each)
        assert urlsplit(link_of(bench)).port != urlsplit(link_of(other)).port
        assert link_of(bench).partition("=")[2] != link_of(other).partition("=")[2]
    finally:
        other.close()


def test_without_a_page_nothing_is_served(bench: Bench) -> None:
    config = bench.config
    config.write_text(f"{config.read_text()}\n[page]\nenabled = false\n")
    bench.board(bench.lasting("steady"), 1.0)
    daemon = bench.start("boretight", "run", "--config", config, "--no-screen", "--port", bench.link)
    daemon.until(lambda: "stable_reading" in bench.kinds(), "a reading")
    assert "Page" not in daemon.said and not (bench.storage / "page-token").exists()
