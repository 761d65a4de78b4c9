"""The description of the MQTT tree against the schemas that others have published for such documents.

Ref: AsyncAPI 3.0.0, JSON Schema and text of the specification; JSON Schema draft-07 and 2020-12, meta schemas.
"""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from daq.sinks.payloads.documents import FOLDER

OFFICIAL = Path(__file__).parent / "asyncapi" / "3.0.0.json"
SHA256 = "d4571a420e6ffb7fcc7066c95a6db1202f299a3c51daa103d0706bf30f95e626"
SCHEMAS = sorted(path for path in FOLDER.iterdir() if path.name != "asyncapi.json")


@cache
def official() -> jsonschema.Draft7Validator:
    return jsonschema.Draft7Validator(json.loads(OFFICIAL.read_bytes()))


@pytest.fixture
def document() -> dict[str, Any]:
    tree = json.loads((FOLDER / "asyncapi.json").read_bytes())
    assert isinstance(tree, dict)
    return tree


def nodes(tree: Any) -> Iterator[dict[str, Any]]:
    if isinstance(tree, dict):
        yield tree
    for below in tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else ():
        yield from nodes(below)


def test_the_official_schema_is_as_it_was_published() -> None:
    assert hashlib.sha256(OFFICIAL.read_bytes()).hexdigest() == SHA256
    jsonschema.Draft7Validator.check_schema(json.loads(OFFICIAL.read_bytes()))


def test_the_description_is_asyncapi_3(document: dict[str, Any]) -> None:
    faults = [f"{list(fault.absolute_path)}: {fault.message[:200]}" for fault in official().iter_errors(document)]
    assert faults == []


def _no_title(tree: dict[str, Any]) -> None:
    del tree["info"]["title"]


def _published_not_sent(tree: dict[str, Any]) -> None:
    tree["operations"]["live"]["action"] = "publish"


def _misspelt(tree: dict[str, Any]) -> None:
    tree["channels"]["live"]["adress"] = tree["channels"]["live"].pop("address")


def _sent_three_times(tree: dict[str, Any]) -> None:
    tree["operations"]["live"]["bindings"]["mqtt"]["qos"] = 3


def _odd_type(tree: dict[str, Any]) -> None:
    tree["components"]["schemas"]["live"]["type"] = "thing"


BROKEN = [_no_title, _published_not_sent, _misspelt, _sent_three_times, _odd_type]


@pytest.mark.parametrize("spoil", BROKEN, ids=lambda spoil: spoil.__name__.strip("_"))
def test_the_official_schema_sees_what_is_wrong(
    document: dict[str, Any], spoil: Callable[[dict[str, Any]], None]
) -> None:
    spoilt = copy.deepcopy(document)
    spoil(spoilt)
    assert not official().is_valid(spoilt)


def test_an_operation_uses_messages_of_its_channel_alone(document: dict[str, Any]) -> None:
    """What the official schema cannot see. Ref: AsyncAPI 3.0.0, Operation Object: `messages` MUST be a subset."""
    for operation in document["operations"].values():
        channel = operation["channel"]["$ref"]
        assert channel.removeprefix("#/channels/") in document["channels"]
        for message in operation["messages"]:
            assert message["$ref"].startswith(f"{channel}/messages/")


def test_nothing_is_said_beside_a_reference(document: dict[str, Any]) -> None:
    """It would be passed over. Ref: AsyncAPI 3.0.0, Reference Object; JSON Schema draft-07 core, 8.3."""
    assert [node for node in nodes(document) if "$ref" in node and len(node) > 1] == []


def test_its_schemas_are_those_that_its_readers_know(document: dict[str, Any]) -> None:
    """The default schema format of AsyncAPI 3.0 is a superset of JSON Schema draft-07."""
    for body in document["components"]["schemas"].values():
        jsonschema.Draft7Validator.check_schema(body, format_checker=jsonschema.FormatChecker())


@pytest.mark.parametrize("path", SCHEMAS, ids=lambda path: path.stem)
def test_each_schema_keeps_the_meta_schema_that_it_names(path: Path) -> None:
    body = json.loads(path.read_bytes())
    meta = jsonschema.validators.validator_for(body, default=None)
    assert meta is jsonschema.Draft202012Validator
    meta.check_schema(body, format_checker=meta.FORMAT_CHECKER)
