from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest

from daq.records import MarkKind
from daq.sinks.payloads.documents import ENTRIES, FOLDER, asyncapi, documents, schema
from daq.sinks.topics import CHANNELS

NAMES = ("availability", "status", "describe", "session", "live", "reading", "verdict", "event", "command", "reply")


def nodes(tree: Any) -> Iterator[dict[str, Any]]:
    if isinstance(tree, dict):
        yield tree
        for value in tree.values():
            yield from nodes(value)
    elif isinstance(tree, list):
        for item in tree:
            yield from nodes(item)


def test_the_checked_in_documents_are_up_to_date() -> None:
    """If this fails: python -m daq.sinks.payloads.documents"""
    assert {path.name: path.read_text(encoding="utf-8") for path in FOLDER.iterdir()} == documents()


@pytest.mark.parametrize("name", NAMES)
def test_each_schema_is_one_and_has_its_own_name(name: str) -> None:
    body = schema(name)
    jsonschema.Draft202012Validator.check_schema(body)
    assert body["$id"] == f"urn:boretight:mqtt:v1:{name}"


@pytest.mark.parametrize("name", NAMES)
def test_version_1_may_grow_by_optional_fields(name: str) -> None:
    assert all("additionalProperties" not in node for node in nodes(schema(name)))


def test_each_pressure_and_loss_says_its_ucum_unit() -> None:
    endings = {"_pa": "Pa", "_pct": "%", "_mm2": "mm2", "_g_s": "g/s", "_l_min": "L/min", "_s": "s", "_bytes": "By"}
    for name in NAMES:
        for node in nodes(schema(name)):
            for field, about in node.get("properties", {}).items():
                codes = [code for ending, code in endings.items() if field.endswith(ending)]
                if codes and not field.endswith("most_per_s"):
                    assert about["x-ucum"] == max(codes, key=len) if len(codes) > 1 else codes[0], (name, field)


def test_the_description_names_every_channel_of_the_tree() -> None:
    assert ENTRIES.keys() == CHANNELS.keys() == asyncapi()["channels"].keys()
    for name, operation in asyncapi()["operations"].items():
        mqtt = operation["bindings"]["mqtt"]
        assert (mqtt["qos"], mqtt["retain"]) == (CHANNELS[name].qos, CHANNELS[name].retain)
        assert operation["action"] == ("receive" if name == "command" else "send")


def test_the_description_stands_alone() -> None:
    """Every reference points into the document itself; every part of an address is described."""
    tree = asyncapi()
    references = [node["$ref"] for node in nodes(tree) if "$ref" in node]
    assert references
    for reference in references:
        where: Any = tree
        for part in reference.removeprefix("#/").split("/"):
            where = where[part]
    for channel in tree["channels"].values():
        assert set(channel["parameters"]) == {part.split("}")[0] for part in channel["address"].split("{")[1:]}


def test_the_verbs_are_those_of_the_operator() -> None:
    assert asyncapi()["components"]["parameters"]["verb"]["enum"] == [kind.value for kind in MarkKind]


def test_documents_are_json() -> None:
    assert all(json.loads(text) for text in documents().values())
