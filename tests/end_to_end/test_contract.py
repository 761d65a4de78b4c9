"""What a daemon really says in a steered test, read with nothing but the AsyncAPI document that it publishes."""

from __future__ import annotations

import json
import re
from functools import cache
from typing import Any

import jsonschema
import pytest

from daq.sinks.payloads.documents import FOLDER
from tests.end_to_end.bench import Bench, Running
from tests.suites.brokers import Mosquitto, Seen, Watcher, until

SPEED = 15
DOCUMENT: dict[str, Any] = json.loads((FOLDER / "asyncapi.json").read_bytes())
STEERED = (
    ("note", "oil cap off"),
    ("pause",),
    ("go-on",),
    ("skip",),
    ("finish",),
    ("heard", "1:", "next-cylinder", "3", "faint", "at the plug hole"),
    ("undo",),
)
"""What is taken back is the finding: nothing else happens in a test that is done, however slow these commands are."""


@cache
def channel_of(topic: str) -> str:
    """The channel whose address this topic has."""
    found = [name for name, channel in DOCUMENT["channels"].items() if _pattern(channel["address"]).fullmatch(topic)]
    assert len(found) == 1, (topic, found)
    return found[0]


def _pattern(address: str) -> re.Pattern[str]:
    return re.compile(
        "".join("[^/]+" if part[0] == "{" else re.escape(part) for part in re.findall(r"{\w+}|[^{]+", address))
    )


@cache
def validator(channel: str) -> jsonschema.Draft7Validator:
    """Of the one message of a channel, by the references of the document alone. AsyncAPI 3.0 builds on draft-07."""
    (message,) = DOCUMENT["channels"][channel]["messages"].values()
    schema = {"allOf": [_at(message["$ref"])["payload"]], "components": DOCUMENT["components"]}
    return jsonschema.Draft7Validator(schema, format_checker=jsonschema.FormatChecker())


def _at(reference: str) -> dict[str, Any]:
    where: Any = DOCUMENT
    for part in reference.removeprefix("#/").split("/"):
        where = where[part]
    assert isinstance(where, dict)
    return where


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> list[Seen]:
    folder = tmp_path_factory.mktemp("contract")
    broker = Mosquitto(folder)
    broker.start()
    bench = Bench(folder, broker)
    try:
        with Watcher(broker.port) as watcher:
            daemon = bench.daemon("--quiet")
            bench.board(bench.lasting("four-sound"), SPEED)
            _steered(bench, daemon, watcher)
            daemon.end()
            until(lambda: watcher.bodies("availability")[-1:] == ["offline"], "offline")
            return list(watcher.seen)
    finally:
        bench.close()
        broker.stop()


def _steered(bench: Bench, daemon: Running, watcher: Watcher) -> None:
    """A soft step, two cylinders, then another test that is steered to its end."""
    daemon.until(lambda: watcher.on("last/3"), "a second cylinder")
    _told(bench, "test", "start", "inline-four", "--cold", "--acknowledged-by", "kim", "--name", "spring")
    daemon.until(lambda: any(message.json["test"] == "spring" for message in watcher.on("session")), "the test")
    for words in STEERED:
        _told(bench, "mark", *words)
    daemon.until(lambda: any(message.json["phase"] == "done" for message in watcher.on("session")), "its end")
    daemon.until(lambda: '"kind":"withdrawn"' in "".join(watcher.bodies("event")), "the last mark in the events")


def _told(bench: Bench, *words: object) -> None:
    done = bench.run(*words, "--config", bench.config)
    assert done.returncode == 0, done.stderr


def test_every_message_is_one_of_the_document(seen: list[Seen]) -> None:
    for message in seen:
        channel = channel_of(message.topic)
        faults = [fault.message for fault in validator(channel).iter_errors(_content(message))]
        assert faults == [], message
        mqtt = DOCUMENT["operations"][channel]["bindings"]["mqtt"]
        assert message.qos == mqtt["qos"], message


def _content(message: Seen) -> Any:
    return message.body if message.topic.endswith("/availability") else message.json


def test_every_channel_was_used(seen: list[Seen]) -> None:
    assert {channel_of(message.topic) for message in seen} == DOCUMENT["channels"].keys()


def test_every_field_is_named_in_the_document(seen: list[Seen]) -> None:
    """The schemas allow more, since version 1 may grow; what is sent today they know by name."""
    for message in seen:
        channel = channel_of(message.topic)
        if channel in ("availability", "command"):
            continue
        kind = message.json.get("kind")
        known = [each for each in _models(channel) if kind is None or kind in _kinds(each)]
        assert known and set(message.json) <= set(known[0]["properties"]), message


def _models(channel: str) -> list[dict[str, Any]]:
    (message,) = DOCUMENT["channels"][channel]["messages"].values()
    schema = _at(_at(message["$ref"])["payload"]["$ref"])
    return [_at(each["$ref"]) for each in schema.get("oneOf", schema.get("anyOf", []))] or [schema]


def _kinds(model: dict[str, Any]) -> list[str]:
    kind = model["properties"]["kind"]
    return kind.get("enum") or [kind["const"]]


def test_the_kinds_of_a_steered_test_are_all_among_them(seen: list[Seen]) -> None:
    kinds = {message.json["kind"] for message in seen if message.topic.endswith("/event")}
    assert kinds >= {
        "link-up", "test-started", "air-on", "air-off", "soft-step", "supply-held", "cue", "tap", "tap-effect",
        "cylinder-done", "mark", "finding", "withdrawn", "test-done",
    }  # fmt: skip


def test_a_session_tells_test_done_and_skipped(seen: list[Seen]) -> None:
    sessions = [message.json for message in seen if message.topic.endswith("/session")]
    assert any(session["done"] for session in sessions)
    assert (sessions[-1]["test"], sessions[-1]["phase"]) == ("spring", "done")
    assert sessions[-1]["skipped"] != ""
    assert {session["order"] for session in sessions} == {"1-3-4-2"}


def test_what_is_not_one_of_the_document_is_seen(seen: list[Seen]) -> None:
    """The same validators, with one thing wrong in each kind of message."""
    for channel in DOCUMENT["channels"].keys() - {"availability", "command"}:
        body = next(message.json for message in seen if channel_of(message.topic) == channel)
        assert not validator(channel).is_valid(body | {"seq": "one"}), channel
        assert not validator(channel).is_valid(body | {"t": "yesterday"}), channel
    assert not validator("availability").is_valid("perhaps")
