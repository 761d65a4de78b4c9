"""`boretight mark` and `test start`: what the operator asks of a running bench, over its broker, and its answer."""

from __future__ import annotations

import asyncio
import json
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from daq.broker_settings import mqtt_settings
from daq.cli.event_loop import run
from daq.cli.output import print_json
from daq.config import load
from daq.errors import UnavailableError, UsageError
from daq.records import MarkKind
from daq.sinks.mqtt.connection import ProtocolChoice, connection
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.topics import COMMAND_BYTES, Topics

ANSWER_S = 5.0


NEXT = {
    "expired": "Set the clocks of this computer and of the bench, if they differ; else try again.",
    "invalid": "Are this program and the daemon of the same version?",
}
"""Where the bench refuses, its reason says what may be said instead."""


@dataclass(frozen=True, slots=True)
class Bench:
    """Which bench, at which broker; what is None is as configured."""

    bench: str | None
    host: str | None
    port: int | None
    path: Path | None


def mark(kind: str, text: str, bench: Bench, as_json: bool) -> None:
    """Raises UnavailableError if no broker or no bench answers, UsageError if the bench refuses."""
    if kind not in [known.value for known in MarkKind]:
        raise UsageError(f"There is no mark {kind!r}.", f"Use one of {', '.join(known.value for known in MarkKind)}.")
    ask(bench, kind, {"text": text}, as_json)


def ask(where: Bench, verb: str, content: dict[str, Any], as_json: bool) -> None:
    """Sends the command and prints the answer. See `mark` for what it raises."""
    config = load(where.path)
    name = where.bench or config.bench
    answer = run(_send(mqtt_settings(config, where.host, where.port), name, verb, content))
    if as_json:
        print_json(answer)
    elif answer["status"] == "accepted":
        print(f"{name}: {verb} {content.get('text', '')}".rstrip())
        if answer.get("reason"):
            print(answer["reason"])
    if answer["status"] != "accepted":
        status = answer["status"]
        raise UsageError(f"The bench answered {status}.", NEXT.get(status, ""), str(answer.get("reason", "")))


async def _send(settings: MqttSettings, bench: str, verb: str, content: dict[str, Any]) -> dict[str, Any]:
    """The answer of the bench to this very command, recognised by its id."""
    from aiomqtt import MqttError

    topics, protocol, command_id = Topics(bench, settings.root), ProtocolChoice(settings.protocol), secrets.token_hex(8)
    deadline = (datetime.now(UTC) + timedelta(seconds=ANSWER_S)).isoformat()
    command = json.dumps({"id": command_id, "deadline": deadline, **content}).encode()
    if len(command) > COMMAND_BYTES:
        raise UsageError("That is more than one command can carry.", f"Say it in less than {COMMAND_BYTES} bytes.")
    while True:
        try:
            client_id = f"{settings.root}-mark-{command_id}"
            async with connection(settings, protocol.version, client_id, settings.tls_context()) as client:
                await client.subscribe(topics["reply"], qos=1)
                await client.publish(topics[f"command/{verb}"], command, qos=1)
                async with asyncio.timeout(ANSWER_S):
                    async for message in client.messages:
                        if (answer := answer_to(command_id, message.payload)) is not None:
                            return answer
        except TimeoutError as error:
            raise UnavailableError(
                f"No bench {bench!r} answers at the broker {settings.address}.",
                todo="`boretight watch` shows which benches are there.",
            ) from error
        except MqttError as error:
            if not protocol.refused(error):
                raise UnavailableError(
                    f"The MQTT broker {settings.address} cannot be used.",
                    todo="Is the daemon running? Name the broker with --host and --mqtt-port.",
                    evidence=str(error),
                ) from error


def answer_to(command_id: str, body: bytes) -> dict[str, Any] | None:
    """The reply in `body`, or None if it answers another command or is no reply at all."""
    try:
        answer = json.loads(body, parse_constant=_refuse)
    except (ValueError, RecursionError):
        return None
    fits = isinstance(answer, dict) and answer.get("id") == command_id and isinstance(answer.get("status"), str)
    return answer if fits else None


def _refuse(constant: str) -> None:
    """Ref: RFC 8259 (no NaN, no Infinity)."""
    raise ValueError(constant)
