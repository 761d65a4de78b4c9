from __future__ import annotations

import json

import pytest

from daq.errors import UsageError
from daq.records import Mark, MarkKind
from daq.sinks.mqtt.commands import REMEMBERED, CommandDesk
from daq.sinks.topics import COMMAND_BYTES

NOW_S = 1_767_225_600.0
LATER = "2026-01-01T00:00:01Z"


class Desk:
    def __init__(self) -> None:
        self.marks: list[Mark] = []
        self.now_s = NOW_S
        self.desk = CommandDesk(self.marks.append, lambda: self.now_s)

    def ask(self, verb: str, id: str = "c1", deadline: object = LATER, retained: bool = False, **more: object) -> str:
        payload = json.dumps({"id": id, "deadline": deadline, **more}).encode()
        return self.desk.answer(verb, payload, retained).status


@pytest.mark.parametrize("wrong", [{"text": "x" * 501}, {"deadline": "tomorrow"}, {"hours": -1}])
def test_who_sent_what_is_wrong_hears_of_it(wrong: dict[str, object]) -> None:
    """By the id, for which a sender waits."""
    payload = json.dumps({"id": "c1", "deadline": LATER, **wrong}).encode()
    answer = CommandDesk(lambda mark: "", lambda: NOW_S).answer("note", payload, False)
    assert (answer.id, answer.status) == ("c1", "invalid") and answer.reason


@pytest.mark.parametrize("kind", list(MarkKind))
def test_every_verb_becomes_a_mark_at_the_time_of_the_host(kind: MarkKind) -> None:
    desk = Desk()
    assert desk.ask(kind.value, text="3") == "accepted"
    assert desk.marks == [Mark(NOW_S, kind.value, "{}" if kind is MarkKind.START else "3")]


def test_what_is_said_of_a_test_that_is_to_start_travels_as_json() -> None:
    desk = Desk()
    assert desk.ask("start", engine="v8", temperature="hot", hours=120.5) == "accepted"
    (mark,) = desk.marks
    assert json.loads(mark.text) == {"engine": "v8", "temperature": "hot", "hours": 120.5}
    assert desk.ask("start", id="c2", temperature="tepid") == "invalid"


def test_a_second_one_of_the_same_id_gets_the_same_answer_and_does_nothing() -> None:
    desk = Desk()
    assert desk.ask("next") == "accepted"
    desk.now_s += 100
    assert desk.ask("next") == "accepted"
    assert len(desk.marks) == 1
    assert desk.ask("next", id="c2") == "expired"
    desk.now_s -= 100
    assert desk.ask("next", id="c2") == "expired"
    assert len(desk.marks) == 1


def test_the_memory_of_ids_is_bounded_and_keeps_the_newest() -> None:
    desk = Desk()
    for n in range(REMEMBERED + 1):
        desk.ask("next", id=f"c{n}")
    assert len(desk.marks) == REMEMBERED + 1
    desk.ask("next", id=f"c{REMEMBERED}")
    assert len(desk.marks) == REMEMBERED + 1
    desk.ask("next", id="c0")
    assert len(desk.marks) == REMEMBERED + 2


@pytest.mark.parametrize("deadline", ["2025-12-31T23:59:59Z", "2026-01-01T00:30:00+01:00"])
def test_after_its_deadline_it_is_expired(deadline: str) -> None:
    desk = Desk()
    assert desk.ask("next", deadline=deadline) == "expired"
    assert desk.marks == []


def test_a_retained_one_is_refused_and_may_be_sent_properly_afterwards() -> None:
    desk = Desk()
    assert desk.ask("next", retained=True) == "refused"
    assert desk.marks == []
    assert desk.ask("next") == "accepted"


@pytest.mark.parametrize(
    ("verb", "text"),
    [
        ("explode", ""),
        ("", ""),
        ("cylinder", ""),
        ("cylinder", "two"),
        ("cylinder", "²"),
        ("cylinder", "-1"),
        ("note", " "),
    ],
)
def test_what_means_nothing_is_refused_with_the_reason(verb: str, text: str) -> None:
    desk = Desk()
    answer = desk.desk.answer(verb, json.dumps({"id": "c1", "deadline": LATER, "text": text}).encode(), False)
    assert (answer.id, answer.verb, answer.status, desk.marks) == ("c1", verb, "refused", [])
    assert answer.reason


@pytest.mark.parametrize(
    "payload",
    [
        b"", b"{", b"[]", b"null", b"\xff\xfe", b'{"id": "c1"}', b'{"deadline": "2026-01-01T00:00:01Z"}',
        b'{"id": "", "deadline": "2026-01-01T00:00:01Z"}', b'{"id": "c1", "deadline": 1767225601}',
        b'{"id": "c1", "deadline": "1767225601"}', b'{"id": "c1", "deadline": "2026-01-01T00:00:01"}',
        b'{"id": "c1", "deadline": "soon"}', b'{"id": "c1", "deadline": "2026-01-01T00:00:01Z", "text": 5}',
        b'{"id": "' + b"x" * 65 + b'", "deadline": "2026-01-01T00:00:01Z"}', b"[" * 3000,
        b'{"id": "c1", "deadline": "2026-01-01T00:00:01Z", "text": "' + b"x" * 501 + b'"}', b" " * (COMMAND_BYTES + 1),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_answered_as_invalid(payload: bytes) -> None:
    desk = Desk()
    answer = desk.desk.answer("next", payload, False)
    assert (answer.status, desk.marks) == ("invalid", []) and answer.id in (None, "c1")
    assert answer.reason and len(answer.reason) < 500


def test_a_field_of_a_later_version_is_passed_over() -> None:
    desk = Desk()
    assert desk.ask("next", v=1, colour="red") == "accepted"


def test_the_pipeline_may_refuse_a_mark_and_says_what_to_do_instead() -> None:
    def refuse(mark: Mark) -> None:
        raise UsageError("There is no test now.", "Start one.", "seen this")

    desk = CommandDesk(refuse, lambda: NOW_S)
    answer = desk.answer("next", json.dumps({"id": "c1", "deadline": LATER}).encode(), False)
    assert (answer.status, answer.reason) == ("refused", "There is no test now. seen this Start one.")
