"""The door: hosts, tokens, other sites, sizes, and what an answer never tells."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

from daq.errors import UsageError
from daq.records import Mark
from daq.sinks.page.guard import MOST_BYTES, POLICY
from daq.sinks.page.settings import is_own_host
from tests.unit.page.pages import NASTY, TOKEN, application

HOST = "http://127.0.0.1:8034"
COMMAND = {"id": "1", "deadline": "2030-01-01T00:00:00Z"}
COOKIE = {"cookie": f"boretight-garage={TOKEN}"}
FROM_PAGE = COOKIE | {"origin": HOST, "sec-fetch-site": "same-origin"}


def client(lan: bool = False, **more: Any) -> TestClient:
    return TestClient(application(lan, **more), base_url=HOST, raise_server_exceptions=False, follow_redirects=False)


# ---- who comes in


@pytest.mark.parametrize("host", ["127.0.0.1:8034", "localhost", "LOCALHOST:80", "[::1]:8034", "192.168.1.7:1"])
def test_addresses_and_our_own_names_are_ours(host: str) -> None:
    assert is_own_host(host)


@pytest.mark.parametrize("host", ["", "evil.example", "127.0.0.1.evil.example", "evil.example:8034", "localhost.evil"])
def test_a_name_that_is_not_ours_is_refused(host: str) -> None:
    assert client().get("/", headers={"host": host}).status_code == 421


def test_on_this_computer_everybody_may_look_and_nobody_may_steer() -> None:
    page = client()
    assert page.get("/").status_code == 200
    assert page.post("/command/next", json=COMMAND).status_code == 401


@pytest.mark.parametrize("path", ["/", "/assets/live.js", "/stream", "/tests", "/schemas/live.json", "/choices.json"])
def test_on_a_network_nothing_is_shown_without_the_token(path: str) -> None:
    assert client(lan=True).get(path).status_code == 401


@pytest.mark.parametrize("told", ["", "x", TOKEN[:-1], TOKEN + "x", "ä" * 23])
def test_a_wrong_token_opens_nothing(told: str) -> None:
    page = client(lan=True)
    assert page.get("/open", params={"token": told}).status_code == 401
    assert page.get("/", headers={"authorization": f"Bearer {told}".encode()}).status_code == 401


def test_the_link_becomes_a_cookie_that_no_script_reads() -> None:
    page = client(lan=True)
    answer = page.get("/open", params={"token": TOKEN})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert {"HttpOnly", "SameSite=lax"} <= set(answer.headers["set-cookie"].split("; "))
    assert page.get("/").status_code == 200


# ---- who steers


def test_a_touch_of_the_page_is_a_mark_and_is_answered_as_over_mqtt() -> None:
    marks: list[Mark] = []
    page = client(on_mark=lambda mark: marks.append(mark) or "")
    answer = page.post("/command/heard", json=COMMAND | {"text": "exhaust clear"}, headers=FROM_PAGE)
    assert answer.status_code == 200
    assert (answer.json()["status"], answer.json()["id"], answer.json()["verb"]) == ("accepted", "1", "heard")
    assert [(mark.kind, mark.text) for mark in marks] == [("heard", "exhaust clear")]


def test_a_program_may_steer_with_the_token() -> None:
    page = client()
    assert page.post("/command/next", json=COMMAND, headers={"authorization": f"Bearer {TOKEN}"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example", "sec-fetch-site": "cross-site"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "null"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_another_site_steers_nothing_even_with_the_cookie(headers: dict[str, str]) -> None:
    marks: list[Mark] = []
    page = client(on_mark=lambda mark: marks.append(mark) or "")
    assert page.post("/command/next", json=COMMAND, headers=COOKIE | headers).status_code == 403
    assert marks == []


def test_what_makes_no_sense_is_refused_with_the_reason_of_the_bench() -> None:
    def refuse(mark: Mark) -> str:
        raise UsageError("`go-on` means nothing now: the test waits for air.")

    answer = client(on_mark=refuse).post("/command/go-on", json=COMMAND, headers=FROM_PAGE)
    assert answer.status_code == 409
    assert "waits for air" in answer.json()["reason"]


def test_a_second_one_of_the_same_id_does_nothing() -> None:
    marks: list[Mark] = []
    page = client(on_mark=lambda mark: marks.append(mark) or "")
    answers = [page.post("/command/next", json=COMMAND, headers=FROM_PAGE).json()["status"] for _ in range(2)]
    assert answers == ["accepted", "accepted"] and len(marks) == 1


@pytest.mark.parametrize(
    ("verb", "body", "status"),
    [
        ("next", b"{}", 400),
        ("next", b"no json", 400),
        ("next", b'{"id": "1", "deadline": "1990-01-01T00:00:00Z"}', 408),
        ("explode", b'{"id": "1", "deadline": "2030-01-01T00:00:00Z"}', 409),
        ("note", b"x" * (MOST_BYTES + 1), 413),
    ],
)
def test_other_bodies_are_answered_with_what_is_wrong(verb: str, body: bytes, status: int) -> None:
    assert client().post(f"/command/{verb}", content=body, headers=FROM_PAGE).status_code == status


def test_a_body_whose_size_is_not_told_is_refused() -> None:
    answer = client().post("/command/next", content=iter([b"{}"] * 9), headers=FROM_PAGE)
    assert answer.status_code == 413


# ---- what is answered


@pytest.mark.parametrize("path", ["/", "/assets/live.js", "/tests", "/nowhere", "/broken", "/command/next"])
def test_every_answer_carries_the_policy(path: str) -> None:
    headers = client().get(path).headers
    assert headers["content-security-policy"] == POLICY
    assert headers["x-content-type-options"] == "nosniff"


def test_a_document_with_a_style_of_its_own_may_use_that_style_only() -> None:
    policy = client().get("/whole").headers["content-security-policy"]
    assert policy.startswith("default-src 'none'; style-src 'sha256-") and "script" not in policy


def test_names_are_text() -> None:
    assert NASTY not in client().get("/tests").text


def test_a_fault_inside_tells_nothing_of_it() -> None:
    answer = client().get("/broken")
    assert answer.status_code == 500 and "secret" not in answer.text


def test_what_there_is_not_is_told_without_what_was_seen() -> None:
    answer = client().get("/gone")
    assert answer.status_code == 404 and "somebody" not in answer.text


@pytest.mark.parametrize("path", ["/assets/../sink.py", "/assets/%2e%2e%2fsink.py", "/schemas/..%2f..%2fconfig.py"])
def test_no_path_leads_out_of_the_folder(path: str) -> None:
    answer = client().get(path)
    assert answer.status_code == 404 and "import" not in answer.text


def test_the_public_schemas_are_served() -> None:
    assert client().get("/schemas/asyncapi.json").json()["asyncapi"].startswith("3.")


def test_what_has_not_changed_is_not_sent_again() -> None:
    page = client()
    first = page.get("/assets/page.css", headers={"accept-encoding": "gzip"})
    again = page.get("/assets/page.css", headers={"if-none-match": first.headers["etag"]})
    assert first.headers["content-encoding"] == "gzip" and (again.status_code, again.content) == (304, b"")
