"""One run of the daemon of a bench as its messages show it, and what there is to see of it at one moment."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel, ConfigDict

from daq.cli.watch_sheet import Sheet, interval, loss_of
from daq.procedure.states import Phase
from daq.records import AirChange, AirState, Cue, Expectation, Fault, Judged, Session, StableReading, Tap, TestStarted
from daq.sinks.face import Face, state, wanted
from daq.sinks.payloads.heard import event_of

MOST_FAULTS = 20


class Taken(BaseModel):
    """What is taken of a message, whoever sent it; the rest is passed over."""

    model_config = ConfigDict(strict=True, allow_inf_nan=False)


class Head(Taken):
    """Whose message it is; (bench, boot, topic, seq) is its identity."""

    bench: str
    boot: str
    seq: int


class Live(Taken):
    """What the instrument shows now."""

    supply_gauge_pa: float | None
    cylinder_gauge_pa: float | None
    loss_pct: float | None
    loss_at_set_pct: float | None = None
    supply_held: bool
    stable: bool

    def seen(self) -> dict[str, Any]:
        """As fields of a face."""
        loss_pct = self.loss_pct if self.loss_at_set_pct is None else self.loss_at_set_pct
        pressures = {"supply_gauge_pa": self.supply_gauge_pa, "cylinder_gauge_pa": self.cylinder_gauge_pa}
        return {**pressures, "line_up": True, "loss_pct": loss_pct, "held": self.supply_held, "stable": self.stable}


class Status(Taken):
    """How the daemon and its line are."""

    line: str
    line_detail: str = ""
    faults: str = ""


class Describe(Taken):
    """What of the bench is shown."""

    set_point_pa: float | None = None
    board: str = ""
    calibration_id: str = ""
    calibration_date: str = ""


class Run:
    """What one run of the daemon of a bench has said. `heard_s` is when its newest state came, -inf for none."""

    def __init__(self, bench: str, boot: str, sheet: Sheet) -> None:
        self.boot, self.sheet = boot, sheet
        self.face = Face(bench)
        self.heard_s = self.live_s = -math.inf
        self.status: Status | None = None
        self.describe = Describe()
        self.newest: StableReading | None = None
        self.cue = ""
        self.faults: dict[str, Fault] = {}

    def take_state(self, name: str, payload: Mapping[str, Any], now_s: float) -> None:
        """Raises ValidationError if that is no message of ours."""
        match name:
            case "live":
                seen = Live.model_validate(payload).seen()
                self.face, self.live_s = replace(self.face, **seen), now_s
            case "status":
                self.status = Status.model_validate(payload)
                self.face = replace(self.face, line_up=self.status.line == "up")
            case "describe":
                self.describe = Describe.model_validate(payload)
            case "session" if isinstance(session := event_of(name, payload), Session):
                self.sheet.take(session)
                self.face = self.face.at(session)
            case _:
                return
        self.heard_s = now_s

    def take_event(self, event: Any) -> None:
        match event:
            case TestStarted():
                self.sheet.start(event.test)
            case Cue():
                self.cue = event.text
            case Fault():
                self._mind(event)
            case Expectation():
                self._expect((event.loss_pct, event.low_pct, event.high_pct))
            case StableReading():
                self.newest = event
                self._expect(None)
            case Tap():
                self._expect(None)
            case AirChange():
                self._expect(None)
                self.face = replace(self.face, air_on=event.state is AirState.ON)
        self.sheet.take(event)

    def _expect(self, interval_pct: tuple[float, float, float] | None) -> None:
        known = interval_pct is not None and all(map(math.isfinite, interval_pct))
        self.face = replace(self.face, expected_pct=interval_pct if known else None)

    def _mind(self, fault: Fault) -> None:
        self.faults.pop(fault.fault, None)
        if not fault.over and len(self.faults) < MOST_FAULTS:
            self.faults[fault.fault] = fault


@dataclass(frozen=True, slots=True)
class View:
    """One run of a bench at one moment, in words. `alone` is False while another run speaks under the same name."""

    face: Face
    run: Run
    online: bool
    broker: bool
    alone: bool

    @property
    def title(self) -> str:
        return self.face.bench if self.alone else f"{self.face.bench} (run {self.run.boot[:8]}, one of several)"

    @property
    def state(self) -> str:
        return state(self.face) if self.online else "OFFLINE"

    @property
    def wanted(self) -> str:
        """The one thing to do or know now."""
        if not self.broker:
            return "THE BROKER IS AWAY, TRYING AGAIN"
        return wanted(self.face) if self.online else "OFFLINE: THE DAEMON OF THIS BENCH DOES NOT RUN"

    @property
    def captured(self) -> str:
        """What is known of the loss, with its interval."""
        cylinder = self.run.sheet.cylinder(self.face.cylinder or 0)
        captured: dict[str, Judged | None] = {Phase.AS_FOUND: cylinder.as_found, Phase.AFTER_TAP: cylinder.after_tap}
        now = captured.get(self.face.phase)
        if now is not None and self.state == "STABLE":
            return f"Captured {loss_of(now)}"
        newest = self.run.newest
        if newest is None:
            return "No stable reading yet"
        where = f"cylinder {newest.cylinder}, " if newest.cylinder else ""
        return f"Newest stable reading: {where}{interval(newest)}"

    @property
    def health(self) -> str:
        """How old all this is, and how line, board, calibration and faults stand."""
        status, bench = self.run.status if self.online else None, self.run.describe
        age = "No reading yet" if math.isinf(self.face.age_s) else f"{self.face.age_s:.1f} s old"
        line = ": ".join(filter(None, (status.line, status.line_detail))) if status else "not known"
        faults = (status.faults or "none") if status else "not known"
        calibration = " of ".join(filter(None, (bench.calibration_id, bench.calibration_date))) or "not known"
        words = (age, f"Line {line}", f"Board {bench.board or 'none'}", f"Calibration {calibration}")
        return " | ".join((*words, f"Faults {faults}"))
