"""`boretight engine sweep` on a board that the test plays: tones, words, and what is refused."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest

from daq.cli import engine_sweep
from daq.cli.engine_sweep import TONE, collected, sentences, taken, tell
from daq.cli.workshop import Workshop, open_workshop
from daq.engine_files import add
from daq.errors import DataError, UnavailableError
from daq.procedure.tdc_sweep import STOP_OR_DIAL, NotUsable, SweepEstimate, two_way_sweep
from daq.records import Board, LineFormat, Ticks
from tests.outside.turned_by_hand import ENGINE, PSI, Hand, Sweep, simulated

BITS = 16


@dataclass
class Bench:
    """The ticks of a sweep, three at a time; the first seconds again and again until they are forgotten."""

    sweep: Sweep
    restless: bool = False
    board: Board = field(default_factory=lambda: Board(LineFormat.FRAMED, BITS))
    given: int = 0
    _forgotten: int = 0

    def forget(self) -> None:
        self._forgotten += 1

    def __iter__(self) -> Iterator[Ticks]:
        if self._forgotten < 2:
            yield from (self._ticks(slice(row, row + 3), rest=True) for row in range(0, 400, 3))
            return
        for row in range(0, len(self.sweep.t_s), 3):
            self.given = row
            yield self._ticks(slice(row, row + 3), rest=False)

    def _ticks(self, rows: slice, rest: bool) -> Ticks:
        t_s = np.arange(rows.start, rows.stop) * 0.05 if rest else self.sweep.t_s[rows]
        psi = [
            pa[:1].repeat(len(t_s)) / PSI if rest else pa[rows] / PSI
            for pa in (self.sweep.supply_pa, self.sweep.cylinder_pa)
        ]
        if rest and self.restless:
            psi[1] = psi[1] + 5 * t_s
        counts = [(0.5 + each * 4 / 150) / 5 * 2**BITS - 0.5 for each in psi]
        n = len(t_s)
        return Ticks(0, t_s, np.full(n, 10), counts[0], counts[1], counts[1], np.zeros(n), np.zeros(n, np.int64))


@pytest.fixture(scope="module")
def by_hand() -> Sweep:
    return simulated(10, Hand())


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    config = tmp_path / "bench.toml"
    config.write_text(f'[storage]\nfolder = "{tmp_path}"\n')
    return open_workshop(config)


def test_a_tone_for_each_mark_and_the_end_by_itself(
    by_hand: Sweep, shop: Workshop, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = Bench(by_hand)
    rows = taken(bench, shop)  # type: ignore[arg-type]
    said = capsys.readouterr().out
    assert [line for line in said.splitlines() if TONE in line] == [f"{TONE}MARK 1", f"{TONE}MARK 2"]
    assert bench.given < len(by_hand.t_s) - 10, "it does not wait for more than it needs"
    assert np.allclose(rows[2], by_hand.cylinder_pa[: len(rows[2])], rtol=1e-9)
    found = two_way_sweep(*rows, ENGINE, shop.instrument, 0.0, 0.1)
    assert isinstance(found, SweepEstimate) and found.usable


def test_a_pressure_that_does_not_rest_is_refused(by_hand: Sweep, shop: Workshop) -> None:
    with pytest.raises(DataError, match="do not come to rest"):
        taken(Bench(by_hand, restless=True), shop)  # type: ignore[arg-type]


def test_nobody_turns_and_time_is_up(by_hand: Sweep, shop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine_sweep, "LONGEST_S", 2.0)
    bench = Bench(by_hand, _forgotten=2)
    rows = collected(bench, lambda: bench.board, shop)
    assert rows[0][-1] - rows[0][0] < 2.5


def test_what_is_said(by_hand: Sweep, shop: Workshop, capsys: pytest.CaptureFixture[str]) -> None:
    rows = by_hand.t_s, by_hand.supply_pa, by_hand.cylinder_pa
    found = two_way_sweep(*rows, ENGINE, shop.instrument, 0.0, 0.1)
    tell(found, shop)
    said = capsys.readouterr().out
    assert "halfway between the marks" in said and "degrees beyond that of the second" in said and "CAUTION" in said
    narrow = sentences(two_way_sweep(*rows, ENGINE, shop.instrument, 0.0, 0.001))
    assert STOP_OR_DIAL in narrow[0] and "beyond that" not in " ".join(narrow)
    assert sentences(NotUsable("No. " + STOP_OR_DIAL)) == ["No. " + STOP_OR_DIAL]


def test_the_direction_is_named(by_hand: Sweep, shop: Workshop) -> None:
    found = two_way_sweep(by_hand.t_s, by_hand.supply_pa, by_hand.cylinder_pa, ENGINE, shop.instrument, 0.0, 0.1)
    assert isinstance(found, SweepEstimate)
    assert "2.0 degrees on in the direction of the first pass" in sentences(turned(found, 2.0))[0]
    assert "1.5 degrees on in the direction of the second pass" in sentences(turned(found, -1.5))[0]


def turned(found: SweepEstimate, degrees: float) -> SweepEstimate:
    return replace(found, from_middle_rad=math.radians(degrees))


def test_for_a_program(by_hand: Sweep, shop: Workshop, capsys: pytest.CaptureFixture[str]) -> None:
    program = Workshop(shop.config, shop.calibration, as_json=True)
    tell(NotUsable("why"), program)
    assert json.loads(capsys.readouterr().out)["usable"] is False
    tell(two_way_sweep(by_hand.t_s, by_hand.supply_pa, by_hand.cylinder_pa, ENGINE, shop.instrument, 0.0, 0.1), program)
    found = json.loads(capsys.readouterr().out)
    assert found["usable"] is True and found["forward"]["speed"] > 0


def test_without_lengths_or_a_board(tmp_path: Path, shop: Workshop) -> None:
    from daq.cli.workshop import Board as Choice

    config, nowhere = tmp_path / "bench.toml", Choice("socket://127.0.0.1:1")
    add(shop.config.storage.engines, "van", {"firing_order": "1-2"})
    with pytest.raises(DataError, match="needs bore, stroke and rod"):
        engine_sweep.sweep("van", 20, None, config, nowhere, False)
    with pytest.raises(UnavailableError):
        engine_sweep.sweep("v8", 20, None, config, nowhere, False)
