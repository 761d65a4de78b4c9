"""Messages of invented benches, for tests of what shows them."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from daq.cli.watch_wall import Line, Wall
from daq.records import CylinderJudged, Event, Judged, Session, StableReading
from daq.sinks.payloads import Stamp, event_body, session_body
from daq.units import PressureUnit
from tests.suites.deliveries import UTC_OFFSET_S, stable

LIVE: dict[str, Any] = {
    "supply_gauge_pa": 689_476.0, "cylinder_gauge_pa": 620_000.0, "loss_pct": 10.1, "supply_held": True, "stable": True,
}  # fmt: skip
STATUS: dict[str, Any] = {"line": "up", "line_detail": "", "faults": ""}


class Speaker:
    """One run of the daemon of a bench: what it says goes to the wall, numbered as a daemon does it."""

    def __init__(self, wall: Wall, bench: str, boot: str = "boot1") -> None:
        self.wall, self.bench, self.boot = wall, bench, boot
        self._seq: dict[str, int] = {}

    def says(self, name: str, now_s: float = 0.0, **content: Any) -> list[Line]:
        head = {"v": 1, "bench": self.bench, "boot": self.boot, "seq": self.next(name), "mono_s": now_s, "segment": 1}
        return self.sends(name, head | {"t": "2026-01-01T00:00:12.000000Z"} | content, now_s)

    def sends(self, name: str, payload: dict[str, Any], now_s: float = 0.0) -> list[Line]:
        return self.wall.take(f"boretight/v1/{self.bench}/{name}", payload, now_s)

    def next(self, name: str) -> int:
        self._seq[name] = self._seq.get(name, -1) + 1
        return self._seq[name]

    def live(self, now_s: float, **other: Any) -> list[Line]:
        return self.says("live", now_s, **LIVE | other)

    def session(self, cylinder: int | None, phase: str, now_s: float = 0.0, **other: Any) -> list[Line]:
        session = replace(Session(1, now_s, "invented four", cylinder, phase, None, "spring"), **other)
        stamp = Stamp(self.bench, self.boot, self.next("session"), UTC_OFFSET_S, now_s, 1)
        return self.sends("session", json.loads(session_body(session, stamp)), now_s)

    def judged(self, cylinder: int, as_found: float | None, after: float | None = None) -> list[Line]:
        """What counts of a cylinder now, with intervals of 1.0 points."""
        found, later = (None if each is None else Judged(each, 1.0, "sound", 0.97) for each in (as_found, after))
        return self.verdict(CylinderJudged(1, 12.0, "spring", cylinder, found, later, "common practice", 10.0, 15.0))

    def verdict(self, judged: CylinderJudged, now_s: float = 1.0) -> list[Line]:
        name = f"verdict/{judged.cylinder}"
        return self.sends(name, self.body(judged, name)[1], now_s)

    def body(self, event: Event, name: str = "") -> tuple[str, dict[str, Any]]:
        stream = name or ("reading" if isinstance(event, StableReading) else "event")
        about: dict[str, Any] = {"bench": self.bench, "boot": self.boot, "seq": self.next(stream)}
        rendered = event_body(event, **about, utc_s=UTC_OFFSET_S + event.t_s, unit=PressureUnit.PSI)
        assert rendered is not None
        return stream, json.loads(rendered[1])

    def event(self, event: Event) -> list[Line]:
        return self.sends(*self.body(event), event.t_s)


def captured(cylinder: int, loss_pct: float, phase: str = "as-found", t_s: float = 12.0) -> StableReading:
    return replace(stable(t_s, cylinder), loss_at_set_pct=loss_pct, phase=phase, expanded_u_loss_pct=1.0)
