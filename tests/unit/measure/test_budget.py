from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.measure.budget import budget, contributions, difference, interval
from daq.measure.calibration import assumed_calibration
from daq.measure.known_errors import Noise, errors
from daq.measure.reading import stable_reading
from daq.measure.stability import StableWindow
from daq.records import (
    Calibration,
    ChannelCalibration,
    Contribution,
    Instrument,
    Pairing,
    RestrictorCalibration,
    StableReading,
)

PSI = 6894.757293168361
DAY_S = 86_400.0
AT_S = 1.7e9
QUIET: Noise = (0.0, 0.0, math.inf)

CLASS = assumed_calibration()
CHANNEL = ChannelCalibration(
    zero_v=0.5, pa_per_v=37.5 * PSI, full_scale_pa=150 * PSI, accuracy_pa=0.75 * PSI,
    u_zero_pa=300.0, u_span=1e-3, degrees_of_freedom=12.0, made_s=AT_S,
)  # fmt: skip
CALIBRATED = Calibration("c", "calibrated", "", 5.0, CHANNEL, CHANNEL)
PAIRING = Pairing("p", AT_S, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 5.0, 10 * PSI, 110 * PSI)


def lines(
    calibration: Calibration, instrument: Instrument, loss: float = 10.0, noise: Noise = QUIET,
    resolution_pa: float = 0.0, at_s: float = AT_S, supply_psi: float = 100.0,
) -> dict[str, Contribution]:  # fmt: skip
    supply_pa = supply_psi * PSI
    found = budget(supply_pa, supply_pa * (1 - loss / 100), noise, resolution_pa, calibration, instrument, at_s)
    return {line.component: line for line in found}


def both(**what: float) -> Calibration:
    channel = replace(CHANNEL, **what)
    return replace(CALIBRATED, supply=channel, cylinder=channel)


# ---- what cancels ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("loss", [1.0, 10.0, 60.0])
def test_paired_a_zero_error_leaves_its_part_of_the_loss_and_a_span_error_nothing(instrument, loss: float) -> None:
    found = lines(replace(CALIBRATED, pairing=PAIRING), instrument, loss)
    assert found["supply line: zero"].contribution_pct == pytest.approx(-loss * 300.0 / (100 * PSI))
    assert found["supply line: span"].contribution_pct == pytest.approx(0, abs=1e-12)
    assert not any(component.startswith("cylinder") for component in found)


def test_unpaired_each_channel_has_its_own(instrument) -> None:
    found = lines(CALIBRATED, instrument)
    assert found["supply line: zero"].contribution_pct == pytest.approx(0.9 * 300 / PSI)
    assert found["cylinder line: zero"].contribution_pct == pytest.approx(-300 / PSI)
    assert found["supply line: span"].contribution_pct == pytest.approx(0.09)
    assert found["cylinder line: span"].contribution_pct == pytest.approx(-0.09)


def test_one_gauge_for_both_channels_cancels(instrument) -> None:
    found = lines(both(u_reference_span=8e-4), instrument)
    assert found["reference gauge"].u == 8e-4
    assert found["reference gauge"].contribution_pct == pytest.approx(0, abs=1e-12)
    assert found["supply line: span"].u == pytest.approx(6e-4)
    one = replace(CALIBRATED, supply=replace(CHANNEL, u_reference_span=8e-4))
    assert lines(one, instrument)["reference gauge"].contribution_pct == pytest.approx(0.072)


def test_a_data_sheet_is_one_line_and_pairing_takes_that_of_the_cylinder_away(instrument) -> None:
    extras = {"hysteresis_pa": 500.0, "nonlinearity_pa": 500.0, "drift_pa_per_year": 500.0}
    channel = replace(CLASS.supply, **extras)
    calibration = replace(CLASS, supply=channel, cylinder=channel)
    later = {"at_s": AT_S + 400 * DAY_S}
    alone = lines(calibration, instrument, **later)
    assert [name for name in alone if name.startswith(("supply", "cylinder"))] == ["supply class", "cylinder class"]
    pairing = replace(PAIRING, u_offset_pa=100.0)
    found = lines(replace(calibration, pairing=pairing), instrument, **later)
    assert [name for name in found if name.startswith(("supply", "cylinder"))] == ["supply class", "supply bow"]
    assert found["supply class"].contribution_pct == pytest.approx(-10 * 0.0075 / math.sqrt(3))
    assert found["pairing: offset"].contribution_pct == pytest.approx(-100 * 100 / (100 * PSI))


# ---- what does not ---------------------------------------------------------------------------------------------


def test_hysteresis_counts_half_and_nonlinearity_and_drift_in_full(instrument) -> None:
    calibration = both(hysteresis_pa=600.0, nonlinearity_pa=400.0, drift_pa_per_year=365.25)
    found = lines(calibration, instrument, at_s=AT_S + 100 * DAY_S)
    assert found["hysteresis"].u == pytest.approx(0.5 / math.sqrt(3))
    assert found["cylinder nonlinearity"].u == pytest.approx(400 / math.sqrt(3))
    assert found["cylinder drift"].u == pytest.approx(100 / math.sqrt(3))
    assert found["supply drift"].contribution_pct == pytest.approx(0.9 * 100 / math.sqrt(3) / PSI)


def test_hysteresis_of_both_channels_cancels_as_far_as_their_widths_are_alike(instrument) -> None:
    """Both rise and fall together: one place in two loops."""
    place_pct = 100 * 0.5 / math.sqrt(3) / (100 * PSI)
    alike = both(hysteresis_pa=600.0)
    one = replace(alike, supply=replace(alike.supply, hysteresis_pa=0.0))
    for pairing in (None, PAIRING):
        assert lines(replace(alike, pairing=pairing), instrument)["hysteresis"].contribution_pct == pytest.approx(
            -0.1 * 600.0 * place_pct
        )
        alone = lines(replace(one, pairing=pairing), instrument)["hysteresis"]
        assert alone.contribution_pct == pytest.approx(-600.0 * place_pct)


def test_paired_data_sheets_leave_the_difference_of_two_unknown_widths(instrument) -> None:
    """Monte Carlo: widths anywhere up to a fifth of the class, one place for both."""
    rng = np.random.default_rng(3)
    width_pa = 0.2 * 0.75 * PSI * rng.uniform(0, 1, (2, 200_000))
    shown_pct = 100 * (rng.uniform(-0.5, 0.5, 200_000) * (width_pa[0] - width_pa[1])) / (100 * PSI)
    found = lines(replace(CLASS, pairing=PAIRING), instrument)["difference of hysteresis"]
    assert abs(found.contribution_pct) == pytest.approx(shown_pct.std(), rel=0.01)


def test_a_zero_that_was_taken_off_leaves_the_loop_that_it_was_vented_through(instrument) -> None:
    paired = replace(CLASS, pairing=PAIRING)
    at = (100 * PSI, 60 * PSI, QUIET, 0.0)
    before, after = (
        {
            line.component: line
            for line in contributions(errors(*at, paired, instrument, AT_S, zeroed), *at[:2], instrument)
        }
        for zeroed in (False, True)
    )
    assert before.keys() - after.keys() == {"supply class"}
    assert after.keys() - before.keys() == {"supply zero as vented"}
    left = after["supply zero as vented"]
    assert left.contribution_pct == pytest.approx(-40 * 0.2 * 0.0075 / math.sqrt(3))
    known = replace(both(hysteresis_pa=300.0, drift_pa_per_year=900.0), pairing=PAIRING)
    names = {error.component for error in errors(*at, known, instrument, AT_S + 1e7, True)}
    assert not names & {"supply line: zero", "supply line: span", "supply drift"}
    (left,) = [e for e in errors(*at, known, instrument, AT_S, True) if e.component == "supply zero as vented"]
    assert left.supply == left.cylinder == pytest.approx(300 / math.sqrt(3))


@pytest.mark.parametrize("calibration", [CLASS, CALIBRATED])
def test_a_zero_taken_off_is_no_credit_for_a_channel_alone(instrument, calibration: Calibration) -> None:
    at = (100 * PSI, 60 * PSI, QUIET, 0.0, calibration, instrument, AT_S)
    assert errors(*at, zeroed=True) == errors(*at)


def test_paired_a_bow_of_the_class_is_what_a_parabola_does_to_two_pressures(instrument) -> None:
    found = lines(replace(CLASS, pairing=PAIRING), instrument, loss=40.0)["supply bow"]
    u_psi = 0.5 * 0.75 / math.sqrt(3)
    shown = [p + 4 * u_psi * (p / 150) * (1 - p / 150) for p in (100.0, 60.0)]
    assert found.contribution_pct == pytest.approx(100 * (1 - shown[1] / shown[0]) - 40.0, rel=2e-2)


@pytest.mark.parametrize("loss", [2.0, 50.0])
def test_an_interval_is_narrower_where_limits_are_all_that_is_known(instrument, loss: float) -> None:
    sheets = interval(tuple(lines(CLASS, instrument, loss).values()))
    assert 1.8 < sheets.factor < 1.905 and sheets.degrees == math.inf
    noisy = interval(tuple(lines(CLASS, instrument, loss, noise=(3e5, 3e5, math.inf)).values()))
    assert noisy.factor == pytest.approx(1.96, abs=1e-3)
    assert noisy.half_width_pct == noisy.factor * noisy.u_pct


def test_paired_a_bend_of_the_supply_channel_counts_with_the_distance_of_the_pressures(instrument) -> None:
    calibration = replace(both(nonlinearity_pa=400.0), pairing=PAIRING)

    def bend_pct(loss: float) -> float:
        found = lines(calibration, instrument, loss)
        names = ("supply nonlinearity", "supply nonlinearity between the two")
        return math.hypot(*(found[name].contribution_pct for name in names))

    u_pct = 100 * 400 / math.sqrt(3) / (100 * PSI)
    assert bend_pct(0.1) < 0.01 * u_pct
    assert bend_pct(10) < bend_pct(20) < bend_pct(40)
    assert bend_pct(60) == pytest.approx(math.hypot(0.4, 1.0) * u_pct)


def test_a_pairing_is_best_in_its_middle(instrument) -> None:
    """Offset and gain of a fit pull against each other: correlation -1 makes the line certain where they cancel."""
    pairing = replace(PAIRING, u_offset_pa=300.0, u_gain=300 / (70 * PSI), correlation=-1.0)
    found = lines(replace(CALIBRATED, pairing=pairing), instrument, loss=30.0)
    assert "pairing: offset" not in found
    assert found["pairing: gain"].contribution_pct == pytest.approx(0, abs=1e-9)
    off = lines(replace(CALIBRATED, pairing=pairing), instrument, loss=0.0)
    assert abs(off["pairing: gain"].contribution_pct) == pytest.approx(300 * 30 / 70 / PSI)


def test_a_pairing_ages(instrument) -> None:
    stale = replace(CALIBRATED, pairing=replace(PAIRING, drift_pa_per_day=50.0, residual_pa=80.0))
    found = lines(stale, instrument, at_s=AT_S + 20 * DAY_S)
    assert found["pairing drift"].u == pytest.approx(1000 / math.sqrt(3))
    assert found["pairing: residual"].contribution_pct == pytest.approx(-80 / PSI)
    assert lines(stale, instrument, at_s=AT_S - 20 * DAY_S)["pairing drift"].u == pytest.approx(1000 / math.sqrt(3))
    assert "pairing drift" not in lines(stale, instrument)


def test_zero_and_span_of_a_fit_are_made_independent(instrument) -> None:
    """Their squares add to the variance of the line at that pressure, correlation included."""
    calibration = both(zero_span_correlation=-0.7)
    found = lines(calibration, instrument, loss=20.0)
    p2, r = 80 * PSI, -0.7
    expected_pa = math.sqrt(300**2 + (1e-3 * p2) ** 2 + 2 * r * 300 * 1e-3 * p2)
    parts = [found[f"cylinder line: {name}"].contribution_pct for name in ("zero", "span")]
    assert math.hypot(*parts) == pytest.approx(expected_pa / PSI)
    assert {found[f"cylinder line: {name}"].degrees_of_freedom for name in ("zero", "span")} == {12.0}


# ---- the window ------------------------------------------------------------------------------------------------


def test_noise_and_resolution_share_what_the_window_says(instrument) -> None:
    count_pa = 100 * math.sqrt(12)
    found = lines(CALIBRATED, instrument, noise=(100.0, 260.0, 18.0), resolution_pa=count_pa)
    assert found["supply resolution"].u == pytest.approx(100) and "supply noise" not in found
    assert found["cylinder resolution"].u == pytest.approx(100)
    assert found["cylinder noise"].u == pytest.approx(240) and found["cylinder noise"].degrees_of_freedom == 18.0
    assert found["cylinder resolution"].degrees_of_freedom == math.inf


def test_noise_that_carries_the_mean_across_counts_leaves_no_resolution(instrument) -> None:
    found = lines(CALIBRATED, instrument, noise=(40.0, 40.0, 18.0), resolution_pa=100 * math.sqrt(12))
    assert found["supply noise"].u == pytest.approx(40) and "supply resolution" not in found


# ---- what converts ---------------------------------------------------------------------------------------------


def test_what_only_converts_does_not_move_the_loss(instrument) -> None:
    found = lines(CALIBRATED, instrument)
    assert found["gas temperature"].u == 3.0 and found["gas temperature"].contribution_pct == 0
    assert found["discharge coefficient, assumed"].u == 0.06
    assert found["discharge coefficient, assumed"].contribution_pct == 0
    restrictor = RestrictorCalibration("r", AT_S, 1.3e-9, 0.5, 2e-11, 0.02, -0.5, 6.0)
    measured = lines(replace(CALIBRATED, restrictor=restrictor), instrument)
    assert "discharge coefficient, assumed" not in measured
    assert measured["restrictor: conductance"].u == 2e-11 and measured["restrictor: critical ratio"].u > 0.01


def test_the_barometer_counts_as_far_as_the_supply_is_off_the_set_point(instrument) -> None:
    assert lines(CALIBRATED, instrument)["barometer"].contribution_pct == pytest.approx(0, abs=1e-12)
    found = lines(CALIBRATED, instrument, supply_psi=98.0)["barometer"]

    def at_set(atmosphere_pa: float) -> float:
        return 10 * (1 + atmosphere_pa / (100 * PSI)) / (1 + atmosphere_pa / (98 * PSI))

    slope = (at_set(101_425.0) - at_set(101_225.0)) / 200
    assert found.sensitivity == pytest.approx(slope, rel=0.01)


def test_every_error_has_a_size(instrument) -> None:
    found = errors(100 * PSI, 90 * PSI, QUIET, 0.0, CALIBRATED, instrument, AT_S)
    assert all(error.u > 0 for error in found)
    assert len({error.component for error in found}) == len(found)


# ---- before and after ------------------------------------------------------------------------------------------


def read(calibration: Calibration, instrument: Instrument, loss: float, noise_pa: float = 50.0) -> StableReading:
    window = StableWindow(0, 5.0, 1.0, 20, 100 * PSI, (100 - loss) * PSI, noise_pa, noise_pa)
    return stable_reading(window, instrument, calibration, AT_S, 0.0)


def test_a_difference_knows_that_the_sensors_are_the_same(instrument) -> None:
    before, after = read(CLASS, instrument, 12.0), read(CLASS, instrument, 11.0)
    change, u = difference(before, after)
    assert change == pytest.approx(-1.0)
    noise = math.hypot(before.noise_pct, after.noise_pct)
    assert u == pytest.approx(math.hypot(noise, 0.01 * 0.75 / math.sqrt(3)), rel=1e-9)
    assert u < 0.05 * after.u_loss_pct


def test_a_difference_over_two_calibrations_has_nothing_in_common(instrument) -> None:
    before = read(CLASS, instrument, 12.0)
    after = replace(read(CLASS, instrument, 11.0), calibration_id="another")
    assert difference(before, after)[1] == pytest.approx(math.hypot(before.u_loss_pct, after.u_loss_pct))


def test_noise_is_new_in_each_window_even_if_only_one_has_it(instrument) -> None:
    before, after = read(CLASS, instrument, 10.0), read(CLASS, instrument, 10.0, noise_pa=0.0)
    assert difference(before, after)[1] == pytest.approx(before.noise_pct)
    assert after.noise_pct == 0


def test_the_budget_of_a_reading_adds_up(instrument) -> None:
    found = read(replace(CALIBRATED, pairing=replace(PAIRING, u_offset_pa=90.0, u_gain=1e-4)), instrument, 10.0)
    assert found.u_loss_pct == pytest.approx(np.linalg.norm([line.contribution_pct for line in found.budget]))
    assert found.expanded_u_loss_pct == pytest.approx(found.coverage_factor * found.u_loss_pct)
    assert 1.96 < found.coverage_factor < 2.57  # between no end of degrees of freedom, and the 5 of the pairing
