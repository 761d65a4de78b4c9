"""What the benches of a broker said last, one state for each run of each: nothing of one ever shows in another."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any, NamedTuple

from pydantic import ValidationError

from daq.cli.watch_run import Head, Run, Status, View
from daq.cli.watch_sheet import Sheet
from daq.records import CylinderJudged, Expectation, TestStarted
from daq.sinks.face import STALE_S, state
from daq.sinks.payloads.heard import event_of
from daq.sinks.terminal.sentences import sentence
from daq.sinks.topics import NAME
from daq.units import PressureUnit

MOST_BENCHES, MOST_RUNS = 64, 3
MOST_TEXT = 300
STREAMS, VERDICT = ("event", "reading"), "verdict/"


class Line(NamedTuple):
    """Something to be told once. `at` is None where a message does not say when."""

    bench: str
    at: datetime | None
    text: str


class Wall:
    """One state for each run of each bench."""

    def __init__(self, unit: PressureUnit = PressureUnit.PSI) -> None:
        self.broker = True
        self._unit = unit
        self._runs: dict[str, dict[str, Run]] = {}
        self._offline: dict[str, bool] = {}
        self._told: dict[tuple[str, str, str], int] = {}

    def take(self, topic: str, payload: Mapping[str, Any], now_s: float) -> list[Line]:
        """What is to be told of it. `topic` is `<root>/v1/<bench>/<name>`; what does not fit is passed over."""
        bench, _, name = topic.split("/", 2)[2].partition("/")
        known = bench in self._runs or bench in self._offline
        if not NAME.fullmatch(bench) or not (known or len(self._runs.keys() | self._offline.keys()) < MOST_BENCHES):
            return []
        payload = {key: _clean(value) for key, value in payload.items()}
        if name == "availability":
            return self._available(bench, payload["availability"])
        try:
            head = Head.model_validate(payload)
        except ValidationError:
            return []
        return self._heard(bench, head, name, payload, now_s) if head.bench == bench else []

    def _available(self, bench: str, word: Any) -> list[Line]:
        offline = word != "online"
        if word not in ("online", "offline") or self._offline.get(bench) == offline:
            return []
        self._offline[bench] = offline
        return [Line(bench, None, "OFFLINE: the daemon of this bench does not run" if offline else "Online")]

    def _heard(self, bench: str, head: Head, name: str, payload: Mapping[str, Any], now_s: float) -> list[Line]:
        if name in STREAMS or name.startswith(VERDICT):
            return self._happened(bench, head, name, payload, now_s)
        run = self._runs.get(bench, {}).get(head.boot)
        before = run.status if run else None
        fresh = run or Run(bench, head.boot, self._sheet(bench))
        try:
            fresh.take_state(name, payload, now_s)
        except ValidationError:
            return []
        if math.isinf(fresh.heard_s):
            return []
        self._keep(bench, fresh)
        return self._status_news(bench, before, fresh, _time(payload))

    def _status_news(self, bench: str, before: Status | None, run: Run, at: datetime | None) -> list[Line]:
        now = run.status
        if now is None or (before is not None and (before.line, before.faults) == (now.line, now.faults)):
            return []
        faults = f", faults: {now.faults}" if now.faults else ""
        return [Line(bench, at, f"Line {': '.join(filter(None, (now.line, now.line_detail)))}{faults}")]

    def _happened(self, bench: str, head: Head, name: str, payload: Mapping[str, Any], now_s: float) -> list[Line]:
        event = event_of(name, payload)
        if event is None:
            return []
        if self._newest(bench) is None:
            self._keep(bench, Run(bench, head.boot, Sheet()))
        if isinstance(event, CylinderJudged):
            return self._judged(bench, head, event, _time(payload), now_s)
        missed = self._missed(bench, head, name)
        if missed < 0:
            return []
        self._put(self._runs[bench].get(head.boot), self._newest(bench), event, now_s)
        return list(self._tell(bench, event, _time(payload), missed))

    def _judged(self, bench: str, head: Head, event: CylinderJudged, at: datetime | None, now_s: float) -> list[Line]:
        """A retained verdict counts for its run while that one speaks, else for each: the run that said it may be no
        more. It is told what is new."""
        own = self._runs[bench].get(head.boot)
        runs = [own] if own and now_s - own.live_s <= STALE_S else list(self._runs[bench].values())
        news = [run.sheet.judge(event) for run in runs]
        return list(self._tell(bench, event, at, missed=0)) if any(news) else []

    def _tell(self, bench: str, event: Any, at: datetime | None, missed: int) -> Iterator[Line]:
        if missed:
            yield Line(bench, at, f"MISSED: {missed} message{'' if missed == 1 else 's'} did not come")
        text = sentence(event, self._unit)
        if text and not isinstance(event, Expectation):
            yield Line(bench, at, text)

    def _missed(self, bench: str, head: Head, stream: str) -> int:
        """How many messages of this stream did not come before this one; -1 if it has come already."""
        key = (bench, head.boot, stream)
        before = self._told.pop(key, head.seq - 1)
        self._told[key] = max(before, head.seq)
        while len(self._told) > MOST_BENCHES * MOST_RUNS:
            del self._told[next(iter(self._told))]
        return head.seq - before - 1 if head.seq > before else -1

    def _put(self, own: Run | None, newest: Run | None, event: Any, now_s: float) -> None:
        """A run that is no more may have left its last events to the next one: they count for their test."""
        if own is not None:
            own.take_event(event)
        if newest is None or newest is own:
            return
        if isinstance(event, TestStarted) and event.test == newest.sheet.test:
            newest.sheet.start(event.test)
        elif own is None or (own.sheet.test == newest.sheet.test and now_s - own.live_s > STALE_S):
            newest.sheet.take(event)

    # ---- runs

    def _keep(self, bench: str, run: Run) -> None:
        runs = self._runs.setdefault(bench, {})
        runs[run.boot] = run
        while len(runs) > MOST_RUNS:
            del runs[min(runs, key=lambda boot: runs[boot].heard_s)]

    def _newest(self, bench: str) -> Run | None:
        return max(self._runs.get(bench, {}).values(), key=lambda run: run.heard_s, default=None)

    def _sheet(self, bench: str) -> Sheet:
        """A daemon that was started again goes on with its test: what is known of its cylinders stays."""
        before = self._newest(bench)
        return copy.deepcopy(before.sheet) if before is not None else Sheet()

    def views(self, now_s: float) -> list[View]:
        """In the order of their names: the newest run of each bench, and each other one that still speaks."""
        benches = sorted(self._runs.keys() | self._offline.keys())
        return [view for bench in benches for view in self._views_of(bench, now_s)]

    def _views_of(self, bench: str, now_s: float) -> list[View]:
        newest = self._newest(bench) or Run(bench, "", Sheet())
        others = [run for run in self._runs.get(bench, {}).values() if run is not newest]
        shown = [newest, *(run for run in others if now_s - run.live_s <= STALE_S)]
        return [self._view(run, now_s, len(shown) == 1) for run in shown]

    def _view(self, run: Run, now_s: float, alone: bool) -> View:
        online = not self._offline.get(run.face.bench, False)
        face = replace(run.face, age_s=now_s - run.live_s, line_up=run.face.line_up and online and self.broker)
        if state(face) == "STALE":  # what was so is not shown as if it were so now
            face = replace(face, supply_gauge_pa=None, cylinder_gauge_pa=None, held=False, stable=False)
        return View(face, run, online, self.broker, alone)


def _time(payload: Mapping[str, Any]) -> datetime | None:
    try:
        return datetime.fromisoformat(str(payload.get("t"))).astimezone()
    except (ValueError, OverflowError, OSError):
        return None


def _clean(value: Any) -> Any:
    """Text for a terminal: no control characters, whoever sent it, and no longer than a line or two."""
    if not isinstance(value, str):
        return value
    seen = (each if each.isprintable() else " " if each.isspace() else "\ufffd" for each in value[:MOST_TEXT])
    return "".join(seen)
