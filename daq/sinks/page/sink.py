"""The page as a sink: what the flow brings becomes states and happenings in the hub, and the hub tells the pages."""

from __future__ import annotations

import asyncio
import json
import math
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from daq.procedure import TestPlan
from daq.procedure.states import Phase, meaningful
from daq.procedure.verdict import Limits
from daq.records import (
    AirChange,
    AirState,
    Board,
    Cue,
    CueLevel,
    Delivery,
    Event,
    Fault,
    LinkChange,
    Mark,
    Readings,
    Samples,
    Session,
)
from daq.sinks.cues.tones import MELODIES
from daq.sinks.face import NO_LOSS, Face, state, wanted
from daq.sinks.mqtt.commands import Answer, CommandDesk
from daq.sinks.page.calibration import calibration_body
from daq.sinks.page.documents import Books
from daq.sinks.page.hub import Hub
from daq.sinks.page.server import PageServer
from daq.sinks.page.settings import PageSettings
from daq.sinks.page.sheet import Sheet
from daq.sinks.page.trace import Trace
from daq.sinks.payloads import (
    BenchDescription,
    Stamper,
    StatusFields,
    describe_body,
    event_body,
    live_body,
    reply_body,
    session_body,
    status_body,
    stream_of,
)
from daq.sinks.terminal.sentences import sentence
from daq.units import PressureUnit

if TYPE_CHECKING:
    from starlette.types import ASGIApp

LOOK_EACH_S = 1.0
LIVE_EACH_S = 0.08
"""A live reading for each second tick of 50 ms, however unevenly they come."""


@dataclass(frozen=True, slots=True)
class PageBench:
    """What does not change while the daemon runs; `limits` as this instrument reads them.

    `past`: what a run before had done of a test that is gone on with. `broker` says in a word how it stands.
    """

    description: BenchDescription
    boot: str
    plan: TestPlan
    limits: Limits
    books: Books = field(default_factory=Books)
    past: Sequence[Event] = ()
    broker: Callable[[], str] = lambda: "off"


class PageSink:
    """Serves the page of a bench; touches on it go to `on_mark`, which may refuse by raising BoretightError.

    `write` never waits. `on_served` is told the port, once that is known.
    """

    name = "page"

    def __init__(
        self,
        settings: PageSettings,
        bench: PageBench,
        status_source: Callable[[], StatusFields],
        on_mark: Callable[[Mark], str],
        on_served: Callable[[int], None] = lambda port: None,
        *,
        utc_s: Callable[[], float] = time.time,
        mono_s: Callable[[], float] = time.monotonic,
    ) -> None:
        description = bench.description
        self._settings, self._bench, self._description, self._unit = settings, bench, description, description.unit
        self._status_source, self._on_served = status_source, on_served
        self._utc_s, self._mono_s = utc_s, mono_s
        self._stamper = Stamper(settings.bench, bench.boot, utc_s, mono_s)
        self._hub, self._trace = Hub(bench.boot), Trace(self._unit)
        self._sheet = Sheet(bench.plan, bench.limits)
        self._desk = CommandDesk(on_mark, utc_s)
        self._server = PageServer()
        self._session: Session | None = None
        self._face = Face(settings.bench)
        self._heard_s = self._live_s = -math.inf
        self._faults: dict[str, dict[str, str]] = {}
        self._words: tuple[object, ...] = ()
        self._said: dict[str, str] = {}
        self._counts: Counter[str] = Counter()
        self._looking: asyncio.Task[None] | None = None

    # ---- the verbs of a sink

    async def open(self) -> None:
        """Raises UnavailableError if the port is taken."""
        if self._looking is not None:
            return
        if self._bench.past:
            self._sheet.recall(self._bench.past)
        self._describe(None)
        self._say("sheet", self._sheet.body())
        self._say("faults", "[]")
        self._look()
        port = await self._server.start(self._app, self._settings)
        self._on_served(port)
        self._looking = asyncio.create_task(self._look_on(), name="page-look")

    async def write(self, delivery: Delivery) -> None:
        for record in delivery.records:
            match record:
                case Samples():
                    continue
                case Readings():
                    if record.t_s.size:
                        self._show(record, delivery.utc_offset_s[record.segment])
                case _:
                    self._tell(record, delivery.utc_s(record))
        self._hub.pulse()

    async def close(self) -> None:
        self._hub.close()
        if self._looking is not None:
            self._looking.cancel()
            await asyncio.gather(self._looking, return_exceptions=True)
        await self._server.stop()

    def _app(self) -> ASGIApp:
        from daq.sinks.page.app import Bench, app

        bench = Bench(self._hello, self._trace.body, self.command)
        return app(self._settings, self._hub, bench, self._bench.books)

    # ---- what is touched

    def command(self, verb: str, body: bytes) -> tuple[Answer, str]:
        answer = self._desk.answer(verb, body, retained=False)
        stamp = self._stamper.now("reply")
        return answer, reply_body(answer.id, answer.verb, answer.status, answer.reason, stamp)

    # ---- what is so now

    def _show(self, rows: Readings, utc_offset_s: float) -> None:
        now_s = self._heard_s = self._mono_s()
        seen = {"line_up": True, "held": bool(rows.supply_held[-1]), "stable": bool(rows.stable[-1])}
        if self._face.stale or any(getattr(self._face, name) != is_so for name, is_so in seen.items()):
            self._turn(**seen)
        self._trace.add(rows, utc_offset_s, state(self._face) not in NO_LOSS)
        if self._hub.pages and now_s - self._live_s >= LIVE_EACH_S:
            self._live_s = now_s
            stamp = self._stamper.at("live", rows.segment, float(rows.t_s[-1]), utc_offset_s)
            self._hub.put("live", live_body(rows, self._session, stamp, self._unit))

    def _turn(self, **changes: Any) -> None:
        """The face with what has changed, and its words where they are others now."""
        self._face = replace(self._face, age_s=max(0.0, self._mono_s() - self._heard_s), **changes)
        face, can_undo = self._face, self._session is not None and self._session.can_undo
        words = (face.engine, face.cylinder, face.phase, state(face), wanted(face), can_undo)
        if words != self._words:
            self._words = words
            self._hub.put("face", face_body(*words))

    def _say(self, name: str, body: str) -> None:
        """A state, if it is another one than before."""
        if self._said.get(name) != body:
            self._said[name] = body
            self._hub.put(name, body)

    # ---- what happens

    def _tell(self, event: Event, utc_s: float) -> None:
        match event:
            case Session():
                self._session = event
                stamp = self._stamper.at("session", event.segment, event.t_s, utc_s - event.t_s)
                self._hub.put("session", session_body(event, stamp))
                self._face = self._face.at(event)
                self._turn()
            case LinkChange():
                self._describe(event.board if event.up else None)
                self._turn(line_up=event.up)
            case AirChange():
                self._turn(air_on=event.state is AirState.ON)
            case Fault():
                self._mind(event)
        if self._sheet.take(event):
            self._say("sheet", self._sheet.body())
        self._announce(event, utc_s)

    def _announce(self, event: Event, utc_s: float) -> None:
        """The same body with the same number as the store gives it: both see every event, and count them alike."""
        stream = stream_of(event)
        if stream is None:
            return
        rendered = event_body(
            event, bench=self._settings.bench, boot=self._bench.boot, seq=self._counts[stream], utc_s=utc_s,
            unit=self._unit,
        )  # fmt: skip
        if rendered is not None:
            self._counts[stream] += 1
            self._hub.happened(*rendered)
        text, level = (event.text, event.level) if isinstance(event, Cue) else (sentence(event, self._unit), "")
        if text and level != CueLevel.NEWS:  # the news are told by the events themselves
            self._hub.happened(
                "said", json.dumps({"t_s": round(utc_s, 3), "text": text.replace("+-", "±"), "level": level})
            )

    def _mind(self, fault: Fault) -> None:
        if fault.over:
            self._faults.pop(fault.fault, None)
        else:
            self._faults[fault.fault] = {"fault": fault.fault, "seen": fault.seen, "todo": fault.todo}
        self._say("faults", json.dumps(list(self._faults.values())))

    # ---- what nothing brings

    async def _look_on(self) -> None:
        while True:
            await asyncio.sleep(LOOK_EACH_S)
            self._look()
            self._hub.put("beat", "{}")
            self._hub.pulse()

    def _look(self) -> None:
        """How old the newest reading is, how everything stands, and a beat by which a page knows that we live."""
        self._turn()
        if self._hub.pages or "status" not in self._said:
            self._hub.put("status", status_body(self._status_source(), 0, self._stamper.now("status")))
            self._say("broker", json.dumps({"broker": self._bench.broker()}))
            self._say("calibration", calibration_body(self._description.calibration, self._utc_s()))

    def _describe(self, board: Board | None) -> None:
        self._hub.put("describe", describe_body(self._description, board, self._stamper.now("describe")))

    def _hello(self, may_steer: bool) -> str:
        """For a page that has just come: whose page it is, by which clock, and what it may do."""
        unit = self._unit
        return json.dumps(
            {
                "bench": self._settings.bench,
                "boot": self._bench.boot,
                "now_s": self._utc_s(),
                "may_steer": may_steer,
                "unit": unit.value,
                "decimals": unit.decimals,
                "pa": unit.pa,
                "tones": {level.value: melody for level, melody in MELODIES.items()},
            }
        )


def face_body(engine: str, cylinder: int | None, phase: str, word: str, to_do: str, can_undo: bool) -> str:
    """JSON. `can`: what an operator may ask for where the test stands."""
    stands = phase or Phase.WAIT_AIR
    words = {"state": word, "wanted": in_sentences(to_do), "can": meaningful(stands, can_undo)}
    return json.dumps({"engine": engine, "cylinder": cylinder, "phase": stands} | words)


def in_words(event: Event, unit: PressureUnit) -> dict[str, str]:
    """A line for what happened, and how urgent it is; the news among the cues are told by the events themselves."""
    if isinstance(event, Cue):
        return {} if event.level is CueLevel.NEWS else {"text": event.text, "level": event.level}
    text = sentence(event, unit)
    return {"text": text.replace("+-", "±"), "level": ""} if text else {}


def in_sentences(words: str) -> str:
    """`CAPTURED. TAP THE VALVES` as it is read, and spoken, more easily: `Captured. Tap the valves`."""
    return ". ".join(part.capitalize() for part in words.split(". "))
