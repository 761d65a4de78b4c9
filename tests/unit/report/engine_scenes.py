"""Stored tests of invented engines, for the tests of reports: written event by event through the real store."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from daq.config import Config, EngineSection
from daq.engine_sheet import EngineSheet
from daq.procedure import EngineOrder, TestPlan
from daq.procedure.plan import Temperature
from daq.records import (
    AirChange,
    AirState,
    Board,
    Calibration,
    CylinderDone,
    Event,
    Finding,
    LineFormat,
    LinkChange,
    Place,
    Samples,
    StableReading,
    Strength,
    TakenBack,
    Tap,
    TestDone,
    TestStarted,
    Withdrawn,
)
from daq.report.engine.judged import Judged, judged
from daq.report.test_record import LAST, TestRecord, load_test
from daq.sinks.store import open_readonly
from daq.sinks.store.boot import Boot
from daq.sinks.store.store import Store
from tests.suites.deliveries import UTC_OFFSET_S, delivery
from tests.unit.procedure.judged import PAIRED, PSI, SET_PA, reading

FOUR = {"name": "invented four", "firing_order": "1-3-4-2", "layout": "inline", "bore": "86 mm", "stroke": "86 mm"}
BOARD = Board(LineFormat.FRAMED, 16)
EACH_S, RATE_HZ, BITS = 20.0, 50.0, 16
AS_FOUND_S, TAP_S, AFTER_S, VENTED_S = 6.0, 9.0, 12.0, 17.0


@dataclass
class Scene:
    """A test under way; each cylinder takes `EACH_S`. `write` puts it into a database of its own."""

    folder: Path
    profile: dict[str, Any] = field(default_factory=lambda: dict(FOUR))
    about: dict[str, Any] = field(default_factory=dict)
    test: str = "spring"
    temperature: Temperature = Temperature.HOT
    acknowledged: str = "kim"
    calibration: Calibration = PAIRED
    events: list[Event] = field(default_factory=list)
    pieces: list[Samples] = field(default_factory=list)
    clock_s: float = 2.0

    def __post_init__(self) -> None:
        profile = EngineSheet.model_validate(self.profile).profile_record()
        self.plan = TestPlan(
            self.test,
            EngineOrder(profile.name, profile.firing_order),
            temperature=self.temperature,
            acknowledged=self.acknowledged,
            has_valves=profile.valves,
            about={"profile": self.profile, **self.about},
        )
        self.events += [
            LinkChange(1, 0.0, True, "opened", BOARD),
            TestStarted(1, 1.0, self.test, profile.name, self.plan.to_text()),
        ]

    @property
    def path(self) -> Path:
        return self.folder / "bench.db"

    def cylinder(
        self, number: int, loss_pct: float, after_pct: float | None = None, attempt: int = 1, supply_pa: float = SET_PA
    ) -> CylinderDone:
        """As found at this supply, and after one tap where there is an `after_pct`; then vented."""
        start_s = self.clock_s
        self.clock_s += EACH_S
        found = self._captured(number, loss_pct, start_s + AS_FOUND_S, "as-found", attempt, supply_pa)
        self.events += [AirChange(1, start_s, AirState.ON, 0.0), found]
        after = None
        if after_pct is not None:
            after = self._captured(number, after_pct, start_s + AFTER_S, "after-tap", attempt)
            self.events += [Tap(1, start_s + TAP_S + 1, start_s + TAP_S, 9e4, 0.6), after]
        done = CylinderDone(1, start_s + VENTED_S, number, found, after, int(after is not None), attempt)
        self.events.append(done)
        self.pieces.append(_samples(start_s, loss_pct))
        return done

    def broken_off(self, number: int, loss_pct: float, attempt: int) -> None:
        """Captured, and never vented in the test."""
        self.events.append(self._captured(number, loss_pct, self.clock_s + AS_FOUND_S, "as-found", attempt))
        self.clock_s += EACH_S

    def _captured(
        self, number: int, loss_pct: float, t_s: float, phase: str, attempt: int, supply_pa: float = SET_PA
    ) -> StableReading:
        found = reading(loss_pct, self.calibration, supply_pa)
        return replace(found, t_s=t_s, cylinder=number, phase=phase, attempt=attempt)

    def withdraw(self, number: int, attempt: int, reason: str) -> None:
        self.events.append(Withdrawn(1, self.clock_s, TakenBack.RESULT, number, attempt, reason))

    def heard(self, number: int, cylinder: int, place: Place, strength: Strength, note: str = "") -> None:
        self.events.append(Finding(1, self.clock_s, number, cylinder, place, strength, None, note))

    def end(self, complete: bool = True, skipped: tuple[int, ...] = ()) -> None:
        done = tuple(event for event in self.events if isinstance(event, CylinderDone))
        self.events.append(TestDone(1, self.clock_s, self.plan.engine.name, done, self.test, skipped, complete))

    def write(self, boot: str = "boot-1") -> Scene:
        asyncio.run(self._write(boot))
        return self

    async def _write(self, boot: str) -> None:
        config = Config.model_construct(bench="garage", engine=EngineSection(firing_order="1")).model_dump(mode="json")
        run = Boot("garage", boot, "boretight test", "raw.btlog", config)
        now_s = UTC_OFFSET_S + self.clock_s
        store = Store(self.path, run, calibrations=[self.calibration], announce=False, now=lambda: now_s)
        await store.open()
        try:
            await store.write(delivery(*self.pieces, *self.events))
        finally:
            await store.close()

    # ---- what a report makes of it

    def record(self, test: str = LAST) -> TestRecord:
        database = open_readonly(self.path)
        try:
            return load_test(database, test, self.path)
        finally:
            database.close()

    def judged(self, limits: str = "common") -> Judged:
        return judged(self.record(), limits)

    def rows(self, sql: str) -> list[dict[str, Any]]:
        database = open_readonly(self.path)
        try:
            return list(database.query(sql))
        finally:
            database.close()


def _samples(start_s: float, loss_pct: float) -> Samples:
    """A fill of 3 s, then pressures that stand, as a board of 16 bits sends them."""
    t_s = start_s + np.arange(0.0, VENTED_S, 1 / RATE_HZ)
    supply_psi = 100 * np.clip((t_s - start_s) / 3, 0, 1)
    return Samples(
        1,
        np.rint(t_s * 1e6).astype(np.int64),
        _counts(supply_psi),
        _counts(supply_psi * (1 - loss_pct / 100)),
        np.full(len(t_s), 50_000, np.int64),
        np.zeros(len(t_s), np.int64),
    )


def _counts(psi: np.ndarray) -> np.ndarray:
    volts = 0.5 + psi * PSI / PAIRED.supply.pa_per_v
    return np.rint(volts / 5 * 2**BITS - 0.5).astype(np.int64)


def sound_four(folder: Path, **more: Any) -> Scene:
    """Every cylinder sound, cylinder 2 only after a tap."""
    scene = Scene(folder, **more)
    for number, loss in ((1, 5.0), (3, 6.0), (4, 5.5)):
        scene.cylinder(number, loss)
    scene.cylinder(2, 19.0, 6.2)
    scene.end()
    return scene


def shapes(folder: Path) -> Iterator[Scene]:
    """Engines and tests of every shape: one cylinder, sixteen, nothing read, half of it read, none tapped, ports."""
    single = Scene(
        folder / "single", {"name": "invented single", "firing_order": "1", "layout": "single"}, test="single"
    )
    single.cylinder(1, 7.0)
    single.end()
    yield single
    order = "-".join(map(str, range(1, 17)))
    sixteen = Scene(folder / "sixteen", {"name": "invented sixteen", "firing_order": order}, test="sixteen")
    for number in range(1, 17):
        sixteen.cylinder(number, 5 + number / 8, 5 + number / 8)
    sixteen.end()
    yield sixteen
    yield Scene(folder / "empty", test="empty")
    half = Scene(folder / "half", test="half", acknowledged="", temperature=Temperature.COLD)
    half.cylinder(1, 30.0)
    half.end(complete=False, skipped=(4,))
    yield half
    ports = {"name": "invented twin", "firing_order": "1-2", "strokes": 2, "certified": True}
    twin = Scene(folder / "twin", ports, test="twin", about={"hours": 812.5, "distance_km": 12000.0, "by": "lee"})
    twin.cylinder(1, 8.0)
    twin.cylinder(2, 12.0)
    twin.end()
    yield twin
