from dataclasses import replace

import numpy as np
import pytest

from daq.calibrate.transducer import ChannelResult, calibrate_channel, course, ratio_to_gauge
from daq.errors import DataError
from daq.records import ChannelCalibration, Floats

PSI = 6894.757293168361
DAY_S = 86400.0
LEVELS = [0.0, 30.0, 60.0, 90.0, 120.0, 150.0]
UP1, DOWN1 = [0.501, 1.2985, 2.0975, 2.8975, 3.6990, 4.5015], [0.5020, 1.3010, 2.1010, 2.9010, 3.7010, 4.5015]
UP2, DOWN2 = [0.5012, 1.2988, 2.0976, 2.8979, 3.6992, 4.5013], [0.5022, 1.3012, 2.1012, 2.9011, 3.7012, 4.5013]
TWO_CYCLES_PA = np.array([*LEVELS, *LEVELS[::-1]] * 2) * PSI
TWO_CYCLES_V = np.array([*UP1, *DOWN1[::-1], *UP2, *DOWN2[::-1]])


def calibrated(
    sheet: ChannelCalibration, reference_pa: Floats = TWO_CYCLES_PA, volts: Floats = TWO_CYCLES_V, u_psi: float = 0.05,
    made_s: float = 1e9, previous: ChannelCalibration | None = None,
) -> ChannelResult:  # fmt: skip
    return calibrate_channel("supply", reference_pa, volts, sheet, u_psi * PSI, made_s, previous)


def refusal(sheet: ChannelCalibration, **how: object) -> DataError:
    with pytest.raises(DataError) as refused:
        calibrated(sheet, **how)  # type: ignore[arg-type]
    assert refused.value.todo
    return refused.value


# ---- an example worked out by hand and with scipy: two cycles of a 150 psi transducer


def test_the_line(sheet: ChannelCalibration) -> None:
    channel = calibrated(sheet).channel
    assert channel.zero_v == pytest.approx(0.500298810, abs=1e-9)
    assert channel.pa_per_v == pytest.approx(37.500368307 * PSI, rel=1e-9)
    assert channel.degrees_of_freedom == 22 and channel.made_s == 1e9
    assert (channel.accuracy_pa, channel.full_scale_pa) == (sheet.accuracy_pa, sheet.full_scale_pa)


def test_hysteresis_repeatability_and_both_linearities(sheet: ChannelCalibration) -> None:
    found = calibrated(sheet)
    span_pa = 3.9998 * found.channel.pa_per_v
    assert found.span_pa == 150 * PSI
    assert found.hysteresis_pa / span_pa == pytest.approx(0.00090005, rel=1e-4)
    assert found.repeatability_pa is not None
    assert found.repeatability_pa / span_pa == pytest.approx(0.00010001, rel=1e-4)
    assert found.terminal_pa / span_pa == pytest.approx(0.00054878, rel=1e-4)
    assert found.best_line_pa / span_pa == pytest.approx(0.00032531, rel=1e-4)
    assert found.channel.nonlinearity_pa == found.best_line_pa
    assert found.channel.hysteresis_pa == found.hysteresis_pa


def test_the_terminal_line_goes_through_both_ends(sheet: ChannelCalibration) -> None:
    found = calibrated(sheet)
    assert found.terminal_zero_v == pytest.approx(0.5016, abs=1e-12)
    assert found.terminal_zero_v + 150 * PSI / found.terminal_pa_per_v == pytest.approx(4.5014, abs=1e-9)


def test_residuals_are_the_indication_less_the_reference(sheet: ChannelCalibration) -> None:
    found = calibrated(sheet)
    indicated = (TWO_CYCLES_V - found.channel.zero_v) * found.channel.pa_per_v
    np.testing.assert_allclose(found.residual_pa, indicated - TWO_CYCLES_PA, atol=1e-6)


# ---- uncertainty


def test_the_gauge_is_in_the_span_and_shared(sheet: ChannelCalibration) -> None:
    poor, good = calibrated(sheet, u_psi=0.3).channel, calibrated(sheet, u_psi=0.0).channel
    assert good.u_reference_span == 0.0 and poor.u_reference_span == pytest.approx(0.3 / 150)
    assert poor.u_span**2 == pytest.approx(good.u_span**2 + poor.u_reference_span**2)
    assert poor.u_zero_pa == good.u_zero_pa
    assert poor.zero_span_correlation * poor.u_span == pytest.approx(good.zero_span_correlation * good.u_span)
    assert -1 < good.zero_span_correlation < -0.5


def test_a_gauge_never_seen_vented_may_be_off_at_zero_too(sheet: ChannelCalibration) -> None:
    kept = TWO_CYCLES_PA > 0
    found = calibrated(sheet, TWO_CYCLES_PA[kept], TWO_CYCLES_V[kept], u_psi=0.3).channel
    assert found.u_zero_pa is not None and found.u_zero_pa > 0.3 * PSI


def test_the_stated_uncertainty_of_the_line_holds(sheet: ChannelCalibration) -> None:
    """Monte Carlo: the true pressure lies within two standard uncertainties in about 95 of 100 calibrations."""
    rng = np.random.default_rng(5)
    inside = 0
    for _ in range(400):
        zero_v, v_per_pa = 0.5 + 0.01 * rng.standard_normal(), 4 / (150 * PSI) * (1 + 0.003 * rng.standard_normal())
        true_pa = TWO_CYCLES_PA * (1 + 0.001 * rng.standard_normal())
        volts = zero_v + v_per_pa * true_pa + 0.002 * rng.standard_normal(true_pa.size)
        found = calibrated(sheet, TWO_CYCLES_PA, volts, u_psi=0.15).channel
        assert found.u_zero_pa is not None
        indicated = (zero_v + v_per_pa * 100 * PSI - found.zero_v) * found.pa_per_v
        u_span_pa = found.u_span * indicated
        shared = 2 * found.zero_span_correlation * found.u_zero_pa * u_span_pa
        inside += abs(indicated - 100 * PSI) < 2.07 * (found.u_zero_pa**2 + u_span_pa**2 + shared) ** 0.5
    assert 370 <= inside <= 392


# ---- beside the record before


def test_the_first_record_drifts_as_is_usual(sheet: ChannelCalibration) -> None:
    found = calibrated(sheet)
    assert found.drift is None and found.channel.drift_pa_per_year == pytest.approx(0.3 * PSI)


def test_a_second_record_tells_the_drift(sheet: ChannelCalibration) -> None:
    first = calibrated(sheet).channel
    moved = calibrated(sheet, volts=TWO_CYCLES_V + 0.02, made_s=1e9 + 365.25 * DAY_S / 2, previous=first)
    assert moved.drift is not None
    assert moved.drift.zero_pa == pytest.approx(0.02 * 37.5 * PSI, rel=1e-3)
    assert moved.drift.span == pytest.approx(0.0, abs=1e-12)
    assert moved.drift.years == pytest.approx(0.5)
    assert moved.channel.drift_pa_per_year == pytest.approx(2 * moved.drift.most_pa)


def test_two_records_alike_do_not_promise_that_nothing_drifts(sheet: ChannelCalibration) -> None:
    first = calibrated(sheet).channel
    again = calibrated(sheet, made_s=1e9 + 365.25 * DAY_S, previous=first)
    assert again.drift is not None and again.drift.most_pa == 0.0
    assert again.channel.drift_pa_per_year == pytest.approx(0.15 * PSI)


def test_a_span_that_grew_is_most_at_full_scale(sheet: ChannelCalibration) -> None:
    first = calibrated(sheet).channel
    grown = first.zero_v + (TWO_CYCLES_V - first.zero_v) * 1.01
    found = calibrated(sheet, volts=grown, made_s=1e9 + DAY_S, previous=first)
    assert found.drift is not None
    assert found.drift.span == pytest.approx(0.01) and found.drift.most_pa == pytest.approx(1.5 * PSI, rel=1e-3)
    assert found.channel.drift_pa_per_year == pytest.approx(0.3 * PSI), "a day apart tells nothing of a year"


# ---- how the points were run through


def test_a_point_that_did_not_move_belongs_to_the_step_after_it() -> None:
    how = course(np.array([0.0, 50, 100, 150, 150, 100, 50, 0, 0, 50.5, 99.5, 150]))
    assert how.rising == (True,) * 4 + (False,) * 4 + (True,) * 4
    assert how.cycle == (0,) * 8 + (1,) * 4
    assert how.level.tolist() == [0, 1, 2, 3, 3, 2, 1, 0, 0, 1, 2, 3]


def test_readings_taken_twice_at_each_pressure_are_one_course() -> None:
    assert course(np.array([0.0, 0, 50, 50, 100, 100])).rising == (True,) * 6
    assert course(np.array([100.0, 100, 50, 50, 0, 0])).rising == (False,) * 6


# ---- what cannot be


@pytest.mark.parametrize(("take", "pressures"), [(1, 1), (2, 2), (7, 5)])
def test_fewer_points_than_parameters(sheet: ChannelCalibration, take: int, pressures: int) -> None:
    kept = [*range(take)] if take < 3 else [0, 0, 5, 5, 0, 5, 5]
    expected = pressures if take < 3 else 2
    error = refusal(sheet, reference_pa=TWO_CYCLES_PA[kept], volts=TWO_CYCLES_V[kept])
    assert f"points at {expected} pressures" in error.what and "five pressures" in error.todo


def test_points_that_contradict_each_other(sheet: ChannelCalibration) -> None:
    misread = TWO_CYCLES_PA.copy()
    misread[9] += 6 * PSI
    error = refusal(sheet, reference_pa=misread)
    assert "Point 10 of the supply channel contradicts" in error.what and "Take it again" in error.todo


def test_a_point_at_the_end_cannot_hide_by_pulling_the_line(sheet: ChannelCalibration) -> None:
    """Of four points the last pulls the line most of the way: 2 psi off the others, 0.6 psi off the line with it."""
    reference_pa = np.array([0.0, 30, 60, 150]) * PSI
    volts = 0.5 + np.array([0.0, 30, 60, 152]) * 4 / 150
    assert "Point 4" in refusal(sheet, reference_pa=reference_pa, volts=volts).what


def test_a_gauge_worse_than_the_transducer(sheet: ChannelCalibration) -> None:
    error = refusal(sheet, u_psi=0.5)
    assert "worse than the supply transducer" in error.what and "four times as good" in error.todo
    assert calibrated(sheet, u_psi=0.4).channel.made_s
    assert ratio_to_gauge(0.1 * PSI, sheet) == pytest.approx(0.75 / 3**0.5 / 0.1)


@pytest.mark.parametrize(("factor", "words"), [(1000 / PSI, "kPa under the name of psi"), (PSI / 1000, "psi under")])
def test_wrong_units(sheet: ChannelCalibration, factor: float, words: str) -> None:
    error = refusal(sheet, reference_pa=TWO_CYCLES_PA / factor)
    assert "sensitivity of its data sheet" in error.what and words in error.todo


def test_a_sensor_that_falls_when_it_should_rise(sheet: ChannelCalibration) -> None:
    assert "-1" in refusal(sheet, volts=5 - TWO_CYCLES_V).what


def test_points_over_too_small_a_range(sheet: ChannelCalibration) -> None:
    assert "range" in refusal(sheet, reference_pa=TWO_CYCLES_PA * 0.2, volts=0.5 + (TWO_CYCLES_V - 0.5) * 0.2).what


def test_points_beyond_the_full_scale(sheet: ChannelCalibration) -> None:
    error = refusal(sheet, reference_pa=TWO_CYCLES_PA * 1.2, volts=0.5 + (TWO_CYCLES_V - 0.5) * 1.2)
    assert "range of the supply transducer" in error.what


def test_an_inverted_transducer_is_calibrated_as_well(sheet: ChannelCalibration) -> None:
    inverted = replace(sheet, zero_v=4.5, pa_per_v=-sheet.pa_per_v)
    found, upright = calibrated(inverted, volts=5 - TWO_CYCLES_V), calibrated(sheet)
    assert found.channel.pa_per_v == pytest.approx(-upright.channel.pa_per_v)
    assert found.channel.u_zero_pa == pytest.approx(upright.channel.u_zero_pa)
    assert found.channel.zero_span_correlation == pytest.approx(upright.channel.zero_span_correlation)
    assert found.hysteresis_pa == pytest.approx(upright.hysteresis_pa)
