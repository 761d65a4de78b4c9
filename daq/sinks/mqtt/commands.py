"""What an operator may ask for over MQTT. No clock and no network here: an answer for each message."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from pydantic import BaseModel, ValidationError

from daq.errors import BoretightError
from daq.records import Mark, MarkKind
from daq.sinks.payloads import VERBS, Command
from daq.sinks.payloads.models import CommandId
from daq.sinks.topics import COMMAND_BYTES

REMEMBERED = 256


@dataclass(frozen=True, slots=True)
class Answer:
    """What becomes of a command; `id` is None if it could not be read."""

    id: str | None
    verb: str
    status: Literal["accepted", "expired", "refused", "invalid"]
    reason: str = ""


class CommandDesk:
    """Turns commands into marks, each id at most once: a repeated one gets the same answer and does nothing.

    `on_mark` takes a mark, with a remark on it; it may refuse by raising BoretightError. `utc_s` is the host's clock.
    """

    def __init__(self, on_mark: Callable[[Mark], str], utc_s: Callable[[], float]) -> None:
        self._on_mark, self._utc_s = on_mark, utc_s
        self._answered: OrderedDict[str, Answer] = OrderedDict()

    def answer(self, verb: str, payload: bytes, retained: bool) -> Answer:
        """`retained` commands are refused: they would come again with each connection."""
        command, fault = _read(payload)
        if command is None:
            return Answer(_id_of(payload), verb, "invalid", fault)
        if retained:
            return Answer(command.id, verb, "refused", "A command must not be retained.")
        if command.id not in self._answered:
            self._answered[command.id] = self._decide(verb, command)
            while len(self._answered) > REMEMBERED:
                self._answered.popitem(last=False)
        return self._answered[command.id]

    def _decide(self, verb: str, command: Command) -> Answer:
        now_s = self._utc_s()
        text = _request(command) if verb == MarkKind.START else command.text
        if fault := _cannot(verb, text):
            return Answer(command.id, verb, "refused", fault)
        if command.deadline.timestamp() < now_s:
            return Answer(command.id, verb, "expired", "It came after its deadline.")
        try:
            remark = self._on_mark(Mark(now_s, verb, text))
        except BoretightError as error:
            return Answer(command.id, verb, "refused", " ".join(filter(None, (error.what, error.evidence, error.todo))))
        return Answer(command.id, verb, "accepted", remark)


def _read(payload: bytes) -> tuple[Command | None, str]:
    if len(payload) > COMMAND_BYTES:
        return None, f"A command has at most {COMMAND_BYTES} bytes."
    try:
        return Command.model_validate_json(payload), ""
    except ValidationError as error:
        fault = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(map(str, fault["loc"]))
        return None, f"{where}: {fault['msg']}" if where else str(fault["msg"])


def _id_of(payload: bytes) -> str | None:
    """So that who sent a command that is wrong hears of it; None where even that cannot be read."""
    try:
        return _Named.model_validate_json(payload[: COMMAND_BYTES + 1]).id
    except ValidationError:
        return None


class _Named(BaseModel):
    id: CommandId


def _request(command: Command) -> str:
    """What was said of the test that is to start, as JSON."""
    return command.model_dump_json(exclude={"id", "deadline", "text"}, exclude_defaults=True)


def _cannot(verb: str, text: str) -> str:
    """Why this verb with this text means nothing; empty if it does."""
    if verb not in VERBS:
        return f"There is no such command; there are {', '.join(VERBS)}."
    if verb == MarkKind.CYLINDER and not (text.isascii() and text.isdecimal()):
        return "`text` must be the number of the cylinder."
    if verb in (MarkKind.NOTE, MarkKind.HEARD) and not text.strip():
        return "`text` must be the words to note."
    return ""
