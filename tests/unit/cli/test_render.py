"""A simulated board as a raw log: reproducible, and it replays to what the scenario is."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.cli.render import render
from daq.errors import UsageError
from daq.measure.calibration import assumed_calibration
from daq.pipeline import Pipeline, run
from daq.procedure import EngineOrder
from daq.records import CylinderDone, Instrument, LineFormat, LinkDown, LinkUp
from daq.sinks.raw_log import read_raw_log
from daq.units import M_PER_INCH, PA_PER_PSI

INSTRUMENT = Instrument(0.040 * M_PER_INCH, 0.8, 0.5283, 101_325.0, 293.15, 100 * PA_PER_PSI, 2 * PA_PER_PSI)


def test_the_log_holds_the_whole_scenario(tmp_path: Path) -> None:
    log = tmp_path / "four.btlog"
    render("four-cylinder", log, 3, None)
    inputs = list(read_raw_log(log))
    assert isinstance(inputs[0], LinkUp) and inputs[0].board.bits == 12
    assert isinstance(inputs[-1], LinkDown)
    engine = EngineOrder("invented four", (1, 3, 4, 2))
    records = run(Pipeline(INSTRUMENT, assumed_calibration(), engine), inputs)
    assert [r.cylinder for r in records if isinstance(r, CylinderDone)] == [1, 3, 4, 2]


def test_the_same_seed_gives_the_same_file_and_another_one_does_not(tmp_path: Path) -> None:
    for name, seed in (("a", 3), ("b", 3), ("c", 4)):
        render("steady", tmp_path / f"{name}.btlog", seed, 3.0)
    a, b, c = ((tmp_path / f"{name}.btlog").read_bytes() for name in "abc")
    assert a == b != c


def test_a_bare_board_is_told_as_one(tmp_path: Path) -> None:
    render("bare", tmp_path / "bare.btlog", 1, 3.0)
    (first, *_) = read_raw_log(tmp_path / "bare.btlog")
    assert isinstance(first, LinkUp) and first.board.line_format is LineFormat.BARE


def test_a_scenario_that_is_not_there_leaves_no_file(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no-such-thing"):
        render("no-such-thing", tmp_path / "x.btlog", 1, None)
    assert not list(tmp_path.iterdir())
