"""Transducers and converter: from a pressure to a count."""

from __future__ import annotations

from itertools import repeat

import numpy as np
import pytest

from simulator.build import bench_of
from simulator.physics.front_end import ConverterTraits, FrontEnd
from simulator.physics.noise import normals
from simulator.physics.transducer import Transducer, TransducerTraits

PSI = 6894.757293168361
NOMINAL = 4.0 / (150 * PSI)


def transducer(**traits: float) -> Transducer:
    return Transducer(TransducerTraits(0.5, NOMINAL, **traits), normals(1, 2))


def seen_psi(volts: float) -> float:
    return (volts - 0.5) / NOMINAL / PSI


def test_zero_and_span() -> None:
    one = Transducer(TransducerTraits(0.52, 1.01 * NOMINAL), repeat(0.0))
    assert [one.volts(t, p * PSI) for t, p in enumerate((0.0, 150.0))] == pytest.approx([0.52, 0.52 + 4.04])


def test_a_bow_is_highest_in_the_middle_and_nothing_at_both_ends() -> None:
    full_scale_pa = 150 * PSI
    seen = []
    for part in (0.0, 0.5, 0.75, 1.0):
        one = transducer(bow_pa=0.4 * PSI, full_scale_pa=full_scale_pa)
        seen.append((one.volts(0.0, part * full_scale_pa) - 0.5) / NOMINAL - part * full_scale_pa)
    assert seen == pytest.approx([0.0, 0.4 * PSI, 0.3 * PSI, 0.0], abs=1e-6)


def test_hysteresis_parts_rising_from_falling_by_its_width() -> None:
    one = transducer(hysteresis_pa=0.4 * PSI)
    rising, top, falling, bottom, rising_again = (seen_psi(one.volts(0.0, p * PSI)) for p in (50, 100, 50, 0, 50))
    assert falling - rising == pytest.approx(0.4)
    assert top < 100.0 < bottom + 100.0
    assert rising_again == pytest.approx(rising)


def test_drift_moves_the_zero_with_time() -> None:
    one = transducer(drift_pa_per_s=0.1 * PSI)
    assert seen_psi(one.volts(30.0, 20 * PSI)) == pytest.approx(23.0)


def test_response_lags_by_its_time_constant() -> None:
    one = transducer(response_s=0.02)
    one.volts(1.0, 0.0)
    assert seen_psi(one.volts(1.02, 100 * PSI)) == pytest.approx(100 * (1 - np.exp(-1)))


def test_noise_has_its_spread() -> None:
    one = transducer(noise_pa=0.2 * PSI)
    values = [seen_psi(one.volts(t, 0.0)) for t in range(20_000)]
    assert np.std(values) == pytest.approx(0.2, rel=0.02)


def test_stuck_it_stays_where_it_was_and_comes_back() -> None:
    one = transducer()
    before = one.volts(0.0, 10 * PSI)
    one.stuck = True
    assert one.volts(1.0, 90 * PSI) == before
    one.stuck = False
    assert seen_psi(one.volts(2.0, 90 * PSI)) == pytest.approx(90.0)


@pytest.fixture
def front_end(quiet):
    """Both transducers ideal, the supply at 100 psi, the cylinder open to the air."""

    def build(**traits: object) -> FrontEnd:
        bench = bench_of(quiet(), seed=1)
        ideal = TransducerTraits(0.5, NOMINAL)
        return FrontEnd(
            bench, Transducer(ideal, repeat(0.0)), Transducer(ideal, repeat(0.0)), ConverterTraits(**traits)
        )

    return build


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_full_scale_is_two_to_the_bits_and_the_converter_floors(front_end, bits: int) -> None:
    volts = 0.5 + 100 / 150 * 4.0
    seen = front_end(bits=bits).convert([0.0])
    assert seen.supply_count.tolist() == [int(volts / 5.0 * 2**bits)]
    assert seen.cylinder_count.tolist() == [int(0.1 * 2**bits)]


def test_ratiometric_counts_do_not_care_for_the_reference(front_end) -> None:
    one = front_end(bits=12)
    before = one.convert([0.0])
    one.reference_v = 4.3
    after = one.convert([0.1])
    assert after.supply_count.tolist() == before.supply_count.tolist()
    assert (before.reference.tolist(), after.reference.tolist()) == ([50000], [43000])


def test_absolute_counts_follow_the_supply_of_the_sensors_and_so_does_the_reference(front_end) -> None:
    one = front_end(bits=16, absolute=True, full_scale_v=6.144)
    for sensors_v in (5.0, 4.5):
        one.reference_v = sensors_v
        seen = one.convert([sensors_v])
        ratio = (seen.supply_count[0] + 0.5) / (seen.reference[0] + 0.5)
        assert ratio == pytest.approx((0.5 + 100 / 150 * 4.0) / 5.0, abs=2 / 2**16)
        assert seen.reference[0] == int(sensors_v / 6.144 * 2**16)


def test_counts_stay_within_the_converter(front_end) -> None:
    one = front_end(bits=10)
    one.bench.regulator.gauge_pa = 400 * PSI
    one.cylinder = Transducer(TransducerTraits(-0.1, NOMINAL), repeat(0.0))
    seen = one.convert([0.0])
    assert (seen.supply_count.tolist(), seen.cylinder_count.tolist()) == ([1023], [0])


def test_hum_is_on_both_channels_at_its_frequency(front_end) -> None:
    one = front_end(bits=16, hum_v=0.1, hum_hz=50.0)
    seen = one.convert([0.005, 0.015])
    amplitude = 0.1 / 5.0 * 2**16
    for counts in (seen.supply_count, seen.cylinder_count):
        assert int(counts[0]) - int(counts[1]) == pytest.approx(2 * amplitude, abs=2)


def test_a_broken_wire_reads_what_stands_on_it(front_end) -> None:
    one = front_end(bits=10, hum_v=0.1)
    whole = one.convert([0.005])
    one.wires_v["supply"] = 0.0
    assert one.convert([0.025]).supply_count.tolist() == [0]
    one.wires_v["supply"], one.wires_v["cylinder"] = None, 5.0
    seen = one.convert([0.045])
    assert (seen.supply_count.tolist(), seen.cylinder_count.tolist()) == (whole.supply_count.tolist(), [1023])


def test_swapped_transducers_change_places(front_end) -> None:
    one = front_end(bits=10)
    straight = one.convert([0.0])
    one.swapped = True
    crossed = one.convert([0.1])
    assert crossed.supply_count.tolist() == straight.cylinder_count.tolist() != straight.supply_count.tolist()
    assert crossed.cylinder_count.tolist() == straight.supply_count.tolist()


def test_the_bench_stands_still_until_it_begins(front_end) -> None:
    one = front_end(bits=12)
    one.advance(5.0)
    assert one.bench.time_s == 0.0
    one.begin(5.0)
    one.begin(6.0)
    one.advance(7.5)
    assert one.bench.time_s == 2.5
