"""Both firmware images on a simulated microcontroller: what a host sees of them."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from daq.sources.conformance import Verdict, check_board
from daq.wire import BadFrame, Boot, Decoder, Flag, Frame, Heartbeat, InputEvent, Reply, ResetCause, SampleBlock
from tests.suites.firmware import BUILD, Microcontroller, SimulatedPort, made

pytestmark = pytest.mark.timeout(400)

IMAGES = ("own", "i2c")
SUPPLY_V, CYLINDER_V = 3.1667, 2.9533
"""What transducers of 150 psi give for 100 and 92 psi at 5 V."""
DIVIDER = 18 / 28
"""Before the inputs of the external converter."""


@pytest.fixture(scope="module", params=IMAGES)
def image(request: pytest.FixtureRequest) -> str:
    made("avr", "bench")
    return str(request.param)


@pytest.fixture
def board(image: str) -> Iterator[Microcontroller]:
    """Started, with two transducers under pressure."""
    with powered(image) as board:
        yield board


def powered(image: str, path: Path | None = None) -> Microcontroller:
    board = Microcontroller(path or BUILD / f"{image}.hex", i2c=image == "i2c")
    scale = DIVIDER if image == "i2c" else 1.0
    for number, volts in enumerate((SUPPLY_V, CYLINDER_V, 5.0)):
        board.order("volts", number, volts * scale)
    board.order("noise", 0.003 if image == "own" else 0.0003, 1)
    return board


def frames(data: bytes) -> list[Frame]:
    return Decoder().feed(data)


def replies(data: bytes) -> list[str]:
    return [f"{frame.status} {frame.text}" for frame in frames(data) if isinstance(frame, Reply)]


def samples(data: bytes) -> SampleBlock:
    """All of them as one block."""
    lines = [line for line in data.split(b"\n") if line.startswith(b"S,")]
    (block,) = (frame for frame in frames(b"\n".join(lines) + b"\n") if isinstance(frame, SampleBlock))
    return block


def stream(board: Microcontroller, microseconds: int = 200_000) -> bytes:
    """What comes so long after the board, which may just have been switched on, was told to sample."""
    board.run(50_000)
    return board.exchange(b"INIT\n", microseconds)


def test_it_conforms_in_everything(board: Microcontroller) -> None:
    """Even in what otherwise needs a hand: restarts in the first second, a press during the check, a calibration."""
    board.run(100_000)
    for channel in ("SUPP", "CYL"):
        assert replies(board.exchange(f"CAL:DATA {channel},500000,258553,20250110\n".encode())) == ["0 "]
    orders = {1.0: "reset 2", 1.4: "reset 1", 6.0: "button 1", 6.4: "button 0"}
    port = SimulatedPort(board, {board.now_us / 1e6 + time_s - 0.8: order for time_s, order in orders.items()})
    report = check_board(port, 6.0, 115_200, port.clock)
    wrong = [f"{found.requirement} {found.evidence}" for found in report.findings if found.verdict != Verdict.CONFORMS]
    assert wrong == []


def test_it_measures_what_is_at_its_inputs(board: Microcontroller, image: str) -> None:
    seen = samples(stream(board, 2_000_000))
    supply, cylinder, reference = (
        np.asarray(column, float) + 0.5 for column in (seen.supply_count, seen.cylinder_count, seen.reference)
    )
    full_scale = 4096.0 if image == "own" else reference
    assert np.mean(supply / full_scale) == pytest.approx(SUPPLY_V / 5, abs=1e-4)
    assert np.mean(cylinder / full_scale) == pytest.approx(CYLINDER_V / 5, abs=1e-4)
    assert set(np.diff(seen.sequence.astype(int))) == {1}
    step_us = np.diff(seen.clock_us.astype(int))
    assert np.mean(step_us) == pytest.approx(5000, abs=1)
    assert np.ptp(step_us) < 100
    assert not seen.flags.any()


def test_averaging_gains_bits_where_there_is_noise() -> None:
    """The own converter has codes of 4.9 mV: with some noise 16 conversions tell a quarter of that, a 12-bit count."""
    made("avr", "bench")
    means = []
    for volts in (2.5010, 2.5022):
        with powered("own") as board:
            board.order("noise", 0.005, 1)
            board.order("volts", 0, volts)
            means.append(np.mean(samples(stream(board, 2_000_000)).supply_count + 0.5) / 4096 * 5)
    assert means == pytest.approx([2.5010, 2.5022], abs=4e-4)


def test_the_clock_wraps(board: Microcontroller, image: str) -> None:
    table = subprocess.run(["avr-nm", str(BUILD / f"{image}.elf")], capture_output=True, text=True, check=True).stdout
    turns = re.search(r"^0080([0-9a-f]{4}) b turns$", table, re.MULTILINE)
    assert turns is not None
    stream(board)
    board.order("poke", f"0x{turns[1]}", 2**17 - 10)
    board.run(20_000)
    data = board.run(1_500_000)
    data = data[data.index(b"\n") + 1 : data.rindex(b"\n") + 1]
    seen = samples(data)
    assert seen.clock_us.max() > 2**32 - 10_000
    assert seen.clock_us.min() < 10_000
    assert np.ptp(np.diff(seen.clock_us.astype(np.int64)) % 2**32) < 100
    assert not any(isinstance(frame, BadFrame) for frame in frames(data))


@pytest.mark.parametrize("cause", [ResetCause.POWER_ON, ResetCause.EXTERNAL, ResetCause.BROWN_OUT])
def test_it_tells_why_it_started(board: Microcontroller, cause: ResetCause) -> None:
    assert frames(board.run(100_000)) == [Boot(ResetCause.POWER_ON, 1, False)]
    board.order("reset", int(cause))
    assert frames(board.run(100_000)) == [Boot(cause, 2, False)]


def test_a_program_that_hangs_is_started_again_in_the_middle_of_a_line(board: Microcontroller) -> None:
    stream(board)
    data = b""
    while data.endswith(b"\n") or not data:
        data = board.run(1_300)
    board.order("hang")
    *before, last = frames(b"\n" + data + board.run(500_000))
    assert last == Boot(ResetCause.WATCHDOG, 2, False)
    assert isinstance(before[-1], BadFrame)


def test_a_press_is_stamped_where_it_happens(board: Microcontroller) -> None:
    """At its first edge, to the microsecond, whenever the program comes to look at it."""
    board.run(100_000)
    data = b""
    for bounces in ((1, 0, 1), (0, 1, 0)):
        for level in bounces:
            board.order("button", level)
            data += board.run(300)
        data += board.run(123_457 - 900)
    pressed, released = (frame for frame in frames(data) if isinstance(frame, InputEvent))
    assert (pressed.pressed, released.pressed) == (True, False)
    assert released.clock_us - pressed.clock_us == pytest.approx(123_457, abs=30)


def test_the_clock_of_a_sample_is_its_midpoint(board: Microcontroller, image: str) -> None:
    """The cylinder's voltage rises with time, so the count tells when it was taken. A press tells the board's clock."""
    board.order("noise", 0, 1)
    stream(board)
    board.order("button", 1)
    data = b""
    for step in range(3000):
        board.order("volts", 1, 0.5 + 2.5 * (step + 0.5) / 3000)
        data += board.run(100)
    (pressed,) = (frame for frame in frames(data) if isinstance(frame, InputEvent))
    seen = samples(data[data.index(b"\n") :])
    full_scale = (5.0, 4096) if image == "own" else (4.096, 32768)
    taken_us = ((seen.cylinder_count + 0.5) / full_scale[1] * full_scale[0] - 0.5) / 2.5 * 300_000
    late_us = (seen.clock_us.astype(float) - (pressed.clock_us + taken_us))[5:]
    # The simulated external converter looks at its input at the start of the conversion, which takes 1.2 ms.
    assert np.mean(late_us) == pytest.approx(0 if image == "own" else 600, abs=200)


def test_a_sagging_supply_is_told(board: Microcontroller, image: str) -> None:
    stream(board)
    for number, volts in enumerate((SUPPLY_V, CYLINDER_V, 5.0)):
        board.order("volts", number, volts * 0.92 * (DIVIDER if image == "i2c" else 1.0))
    if image == "own":
        board.order("supply", 4.6)
    board.run(300_000)
    seen = samples(board.run(500_000)[60:])
    assert set(seen.flags.tolist()) == {Flag.REFERENCE_LOW}
    full_scale = 4096.0 if image == "own" else seen.reference + 0.5
    assert np.mean((seen.supply_count + 0.5) / full_scale) == pytest.approx(SUPPLY_V / 5, abs=1e-4)
    assert replies(board.exchange(b"*TST?\n")) == ["0 1"]


def test_a_wire_that_broke_is_told(board: Microcontroller) -> None:
    board.run(100_000)
    assert replies(board.exchange(b"*TST?\n")) == ["0 0"]
    board.order("noise", 0, 1)
    board.order("volts", 1, 0)
    board.run(100_000)
    assert replies(board.exchange(b"*TST?\n")) == ["0 4"]
    assert set(samples(stream(board, 500_000)).flags.tolist()) == {Flag.SATURATED}


def test_a_converter_that_does_not_answer_is_told() -> None:
    made("avr", "bench")
    with powered("i2c") as board:
        stream(board)
        board.order("unplug")
        board.run(100_000)
        data = board.exchange(b"*TST?\n", 1_500_000)
        assert replies(data) == ["0 7"]
        assert any(isinstance(frame, Heartbeat) and frame.running for frame in frames(data))
        assert b"\nS," not in data
        board.order("plug")
        seen = samples(board.run(500_000))
        assert seen.flags[0] == Flag.OVERRUN
        assert not seen.flags[1:].any()
        assert seen.sequence[0] > 300


def test_the_stack_stays_within_what_was_reckoned(board: Microcontroller, image: str) -> None:
    board.run(100_000)
    board.exchange(b"CAL:DATA SUPP,500000,258553,20250110\nFOO\nINIT\n", 1_500_000)
    board.order("button", 1)
    board.exchange(b"SYST:ERR?\n" + b"x" * 200 + b"\n", 1_500_000)
    found = re.findall(r"(\w+) (\d+) of", (BUILD / f"{image}.budget").read_text())
    reckoned = {name: int(size) for name, size in found}
    touched = 2048 - reckoned["variables"] - int(board.ask("stack")[0])
    assert 50 < touched <= reckoned["stack"]


def test_a_program_that_rotted_is_told(image: str, tmp_path: Path) -> None:
    made("avr", "bench")
    program = (BUILD / f"{image}.sealed").read_bytes()
    rotten, hexfile = tmp_path / "rotten.bin", tmp_path / "rotten.hex"
    rotten.write_bytes(program.replace(b"Boretight", b"Boretighu"))
    subprocess.run(["avr-objcopy", "-I", "binary", "-O", "ihex", str(rotten), str(hexfile)], check=True)
    with powered(image, hexfile) as board:
        board.run(3_000_000)
        assert replies(board.exchange(b"*TST?\n")) == ["0 16"]
