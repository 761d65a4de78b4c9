"""The contract as documents: a JSON Schema for each message, and one AsyncAPI description of the whole tree.

`python -m daq.sinks.payloads.documents` writes them to `daq/sinks/schemas/`; a test says when they are out of date.
Ref: JSON Schema 2020-12; AsyncAPI 3.0.0 with the MQTT bindings 0.2.0.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import Field, TypeAdapter

from daq.sinks.payloads import models
from daq.sinks.payloads.events import EventMessage
from daq.sinks.payloads.state_bodies import SCHEMA_ID
from daq.sinks.topics import NAME, channel_of

FOLDER = Path(__file__).parent.parent / "schemas"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
ADDRESS = "{root}/v1/{bench}/"


class Entry(NamedTuple):
    """A channel of the description; `sent` is False for what the daemon receives."""

    topic: str
    schema: str
    summary: str
    sent: bool = True


ENTRIES = {
    "availability": Entry("availability", "availability", "A bare word, also the last will and on a clean stop"),
    "status": Entry("status", "status", "Health of the daemon and its line, on change and each 30 s"),
    "describe": Entry("describe", "describe", "What the bench is and how to read its messages"),
    "session": Entry("session", "session", "Where the test of the engine stands"),
    "live": Entry("live", "live", "What the instrument shows, at most 10 a second, never queued"),
    "reading": Entry("reading", "reading", "A stable reading, stored before it is announced"),
    "last": Entry("last/{cylinder}", "reading", "A copy of the newest reading of a cylinder"),
    "verdict": Entry("verdict/{cylinder}", "verdict", "What is to be thought of a cylinder; stored before"),
    "event": Entry("event", "event", "Something happened; stored before it is announced"),
    "command": Entry("command/{verb}", "command", "What an operator does; a retained one is refused", sent=False),
    "reply": Entry("reply", "reply", "The answer, unless MQTT 5 named a response topic"),
}

_TYPES: dict[str, Any] = {
    "availability": Annotated[models.Availability, Field(description="Bare text, not JSON")],
    "status": models.Status,
    "describe": models.Describe,
    "session": models.Session,
    "live": models.Live,
    "reading": models.Reading,
    "verdict": models.Verdict,
    "event": Annotated[EventMessage, Field(discriminator="kind", title="Event")],
    "command": models.Command,
    "reply": models.Reply,
}


def schema(name: str) -> dict[str, Any]:
    """The JSON Schema of one kind of message. It allows more fields than it names: v1 may grow."""
    body = TypeAdapter(_TYPES[name]).json_schema(mode="validation" if name == "command" else "serialization")
    return {"$schema": DIALECT, "$id": f"{SCHEMA_ID}:{name}", **_published(body)}


def asyncapi() -> dict[str, Any]:
    """The whole tree as one document that stands alone."""
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "boretight",
            "version": "1.0.0",
            "description": "Readings, events and state of a cylinder leak-down bench, and the commands it takes. "
            f"Version 1 grows by optional fields only. Schemas: {SCHEMA_ID}.",
            "license": {"name": "Apache-2.0"},
        },
        "defaultContentType": "application/json",
        "channels": {name: _channel(name, entry) for name, entry in ENTRIES.items()},
        "operations": {name: _operation(name, entry) for name, entry in ENTRIES.items()},
        "components": {"messages": _messages(), "schemas": _schemas(), "parameters": _parameters()},
    }


def documents() -> dict[str, str]:
    """File name -> text of everything that `schemas/` holds."""
    trees = {f"{name}.json": schema(name) for name in _TYPES} | {"asyncapi.json": asyncapi()}
    return {name: json.dumps(tree, indent=2, ensure_ascii=False) + "\n" for name, tree in trees.items()}


def write(folder: Path = FOLDER) -> None:
    folder.mkdir(exist_ok=True)
    for name, text in documents().items():
        (folder / name).write_text(text, encoding="utf-8")


def _published(node: Any) -> Any:
    """A schema as others need it: open to more fields, short where pydantic is long, free of OpenAPI's keywords."""
    if isinstance(node, list):
        return [_published(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {
        key: _published(value) for key, value in node.items() if key not in ("additionalProperties", "discriminator")
    }
    for field in kept.get("properties", {}).values():
        field.pop("title", None)
    alternatives = kept.get("anyOf", [])
    if alternatives and all(option.keys() == {"type"} for option in alternatives):
        return {"type": [option["type"] for option in kept.pop("anyOf")]} | kept
    return kept


def _channel(name: str, entry: Entry) -> dict[str, Any]:
    address = ADDRESS + entry.topic
    parameters = [part for part in _parameters() if f"{{{part}}}" in address]
    return {
        "address": address,
        "summary": entry.summary,
        "messages": {name: {"$ref": f"#/components/messages/{entry.schema}"}},
        "parameters": {part: {"$ref": f"#/components/parameters/{part}"} for part in parameters},
    }


def _operation(name: str, entry: Entry) -> dict[str, Any]:
    operation: dict[str, Any] = {
        "action": "send" if entry.sent else "receive",
        "channel": {"$ref": f"#/channels/{name}"},
        "messages": [{"$ref": f"#/channels/{name}/messages/{name}"}],
        "bindings": {
            "mqtt": {"qos": channel_of(name).qos, "retain": channel_of(name).retain, "bindingVersion": "0.2.0"}
        },
    }
    if name == "command":
        operation["reply"] = {"channel": {"$ref": "#/channels/reply"}}
    return operation


def _messages() -> dict[str, Any]:
    return {
        name: {
            "name": name,
            "contentType": "text/plain" if name == "availability" else "application/json",
            "payload": {"$ref": f"#/components/schemas/{name}"},
        }
        for name in _TYPES
    }


def _schemas() -> dict[str, Any]:
    """All schemas side by side, the models inside a union among them."""
    flat: dict[str, Any] = {}
    for name in _TYPES:
        body = {key: value for key, value in schema(name).items() if key not in ("$schema", "$id")}
        flat |= body.pop("$defs", {})
        flat[name] = body
    return {name: _repointed(body) for name, body in flat.items()}


def _repointed(node: Any) -> Any:
    """A reference with something beside it goes into `allOf`: alone, what is beside it would be passed over.

    Ref: JSON Schema draft-07 core, 8.3, on which the schemas of AsyncAPI 3.0 are built.
    """
    if isinstance(node, dict):
        if "$ref" in node and len(node) > 1:
            node = {"allOf": [{"$ref": node["$ref"]}]} | {key: node[key] for key in node if key != "$ref"}
        return {key: _repointed(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_repointed(item) for item in node]
    return node.replace("#/$defs/", "#/components/schemas/") if isinstance(node, str) else node


def _parameters() -> dict[str, Any]:
    return {
        "root": {"description": f"Of the tree: {NAME.pattern}", "default": "boretight"},
        "bench": {"description": f"Name of the bench: {NAME.pattern}"},
        "cylinder": {"description": "Number of the cylinder"},
        "verb": {"description": "What is asked for", "enum": list(models.VERBS)},
    }


if __name__ == "__main__":
    write()
