"""`boretight calibrate restrictor` and `check-jet`: known jets at the outlet."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import timedelta
from pathlib import Path

from daq.calibrate.check_jet import JetCheck, check_jet
from daq.calibrate.jets import Jet, JetPoint, jet_of_conductance, jet_of_diameter, jet_points
from daq.calibrate.pairing import expanded_loss_pct
from daq.calibrate.points import CONDUCTANCE
from daq.calibrate.restrictor import FEWEST, calibrate_restrictor
from daq.calibration_files import RestrictorRecord
from daq.cli.calibrate_transducers import MONTH, read_points
from daq.cli.live_ticks import LiveTicks, wait_until_still
from daq.cli.output import print_json, print_table
from daq.cli.workshop import Board, Notes, Workshop, board_name, open_workshop
from daq.errors import DataError, UsageError
from daq.measure import leakage
from daq.measure.calibration import calibrated_instrument
from daq.records import RestrictorCalibration

L_MIN_BAR = CONDUCTANCE["l_min_bar"]
GUIDE = f"""\
Screw a known jet to the outlet, open the air at the set point, and type what the jet is: its diameter in mm and its
discharge coefficient, like `0.9 0.8`; or C and its conductance in L/(min bar), like `C 7.75`. Take {FEWEST} jets or
more, from a small to a large loss. `undo` drops the last one, `done` ends."""


@dataclass(frozen=True, slots=True)
class Named:
    """A jet as the command line names it."""

    diameter_mm: float | None = None
    cd: float | None = None
    conductance_l_min_bar: float | None = None

    def jet(self) -> Jet:
        """UsageError unless it is named in one way, DataError for one that cannot be."""
        by_bore = self.diameter_mm is not None and self.cd is not None
        if by_bore == (self.conductance_l_min_bar is not None):
            raise UsageError("Say what the jet is, in one way.", "Give --diameter-mm and --cd, or --conductance.")
        if self.conductance_l_min_bar is not None:
            return jet_of_conductance(self.conductance_l_min_bar * L_MIN_BAR)
        return jet_of_diameter((self.diameter_mm or 0.0) * 1e-3, self.cd or 0.0)


def restrictor(
    config_path: Path | None, file: Path | None, u_cd_pct: float, board: Board, notes: Notes, due_months: float,
    as_json: bool,
) -> None:  # fmt: skip
    """Fits C and b and keeps the record; whatever is refused is raised, and nothing is kept then."""
    shop = open_workshop(config_path, as_json)
    if file is not None:
        name, points = "", jet_points(read_points(file))
    else:
        with shop.live(board) as live:
            points = guided(live, shop, input)
            name = board_name(live.board)
    record = restrictor_record(shop, points, u_cd_pct / 100, notes, due_months * MONTH, name)
    show_restrictor(record, shop)
    shop.keep(record)


def restrictor_record(
    shop: Workshop, points: list[JetPoint], u_shared: float, notes: Notes, due: timedelta, board: str
) -> RestrictorRecord:
    made = shop.made(notes, due, board)
    at_s, instrument = made.utc.timestamp(), shop.instrument
    result = calibrate_restrictor(points, instrument, at_s, u_of_loss(shop, at_s), u_shared)
    return RestrictorRecord(
        made=made, restrictor_diameter_m=instrument.restrictor_diameter_m, atmosphere_pa=instrument.atmosphere_pa,
        u_shared=u_shared, calibration_id=shop.calibration.calibration_id, result=result,
    )  # fmt: skip


def u_of_loss(shop: Workshop, at_s: float) -> float:
    """Standard uncertainty that the sensors, paired or not, give a loss of 10 %; points."""
    return expanded_loss_pct(shop.calibration, shop.instrument, 10.0, at_s) / 2


def guided(live: LiveTicks, shop: Workshop, ask: Callable[[str], str]) -> list[JetPoint]:
    shop.say(GUIDE)
    taken: list[JetPoint] = []
    while (text := _answer(ask, f"jet {len(taken) + 1}: ")) != "done":
        if text == "undo":
            del taken[-1:]
            continue
        try:
            point = measured(typed_jet(text), live, shop)
        except DataError as error:
            shop.say(str(error))
            continue
        taken.append(point)
        shop.say(f"   loss {point.loss_pct:.2f} % at {shop.unit.show(point.supply_pa)}")
    return taken


def _answer(ask: Callable[[str], str], prompt: str) -> str:
    try:
        return ask(prompt).strip().lower()
    except EOFError:
        return "done"


def typed_jet(text: str) -> Jet:
    """`0.9 0.8` or `c 7.75`; DataError for anything else."""
    words = text.replace(",", ".").split()
    try:
        if len(words) == 2 and words[0] == "c":
            return Named(conductance_l_min_bar=float(words[1])).jet()
        diameter_mm, cd = (float(word) for word in words)
    except ValueError as error:
        todo = "Type a diameter in mm and a discharge coefficient, or C and a conductance."
        raise DataError("That names no jet.", todo, repr(text)) from error
    return Named(diameter_mm, cd).jet()


def measured(jet: Jet, live: LiveTicks, shop: Workshop) -> JetPoint:
    """What the jet gives now; DataError if the pressures do not come to rest."""
    still = wait_until_still(live, shop.calibration, shop.instrument.set_point_pa)
    if still is None:
        raise DataError("The pressures have not come to rest for 15 s.", "Is the supply steady? Try again.")
    return JetPoint(jet, still.supply_pa, still.cylinder_pa)


def show_restrictor(record: RestrictorRecord, shop: Workshop) -> None:
    if shop.as_json:
        return
    found, result = record.result.restrictor, record.result
    rows = [
        ["C", f"{found.conductance_m3_s_pa / L_MIN_BAR:.4f} L/(min bar)", f"{100 * _u_of_c(found):.2f} %"],
        ["b", f"{found.critical_ratio:.4f}", f"{found.u_critical_ratio:.4f}"],
        ["discharge coefficient", f"{result.discharge_coefficient:.4f}", ""],
    ]
    print_table("Restrictor, by known jets (ISO 6358-1)", ["", "value", "standard u"], rows)
    columns = ["jet", "loss", "p2/p1", "flow", "residual"]
    jets = zip(result.points, result.pressure_ratio, result.relative_flow, result.residual, strict=True)
    print_table(
        "Jets", columns,
        [[f"{n}", f"{p.loss_pct:.2f} %", f"{r:.4f}", f"{flow:.4f}", f"{100 * off:+.2f} %"]
         for n, (p, r, flow, off) in enumerate(jets, 1)],
    )  # fmt: skip
    assumed = shop.instrument
    u_pct = 100 * assumed.u_discharge_coefficient / assumed.discharge_coefficient
    shop.say(f"Assumed before: discharge coefficient {assumed.discharge_coefficient:.2f}, known to {u_pct:.0f} %.")


def _u_of_c(found: RestrictorCalibration) -> float:
    return found.u_conductance_m3_s_pa / found.conductance_m3_s_pa


# ---- a check jet


def check(
    config_path: Path | None, named: Named, supply: float | None, cylinder: float | None, u_cd_pct: float, board: Board,
    as_json: bool,
) -> None:  # fmt: skip
    """With the pressures given, or as the board measures them now. Nothing is kept: it is a look, no calibration."""
    shop = open_workshop(config_path, as_json)
    jet = named.jet()
    if (supply is None) != (cylinder is None):
        raise UsageError("One pressure alone tells nothing.", "Give --supply and --cylinder, or neither.")
    if supply is not None and cylinder is not None:
        point = JetPoint(jet, supply * shop.unit.pa, cylinder * shop.unit.pa)
    else:
        with shop.live(board) as live:
            shop.say("Screw the jet to the outlet and open the air.")
            point = measured(jet, live, shop)
    part, u_part = part_in_force(shop)
    u_loss = u_of_loss(shop, shop.made(Notes(), timedelta()).utc.timestamp())
    found = check_jet(point, shop.instrument, part, u_loss, math.hypot(jet.u_own, u_cd_pct / 100, u_part))
    show_check(found, shop)


def part_in_force(shop: Workshop) -> tuple[leakage.Restrictor, float]:
    """The restrictor as it is taken for, and the relative uncertainty of its area where that is only assumed: what
    was calibrated is compared with itself."""
    instrument = shop.instrument
    part = leakage.restrictor(calibrated_instrument(instrument, shop.calibration))
    assumed = shop.calibration.restrictor is None
    return part, instrument.u_discharge_coefficient / instrument.discharge_coefficient if assumed else 0.0


def show_check(found: JetCheck, shop: Workshop) -> None:
    if shop.as_json:
        print_json(asdict(found))
        return
    rows = [
        ["loss this jet should read", f"{found.expected_pct:.2f} %"],
        ["loss it reads", f"{found.measured_pct:.2f} %"],
        ["area of the restrictor, change", f"{100 * found.area_change:+.1f} +-{200 * found.u_area_change:.1f} %"],
        ["its diameter, change", f"{100 * found.diameter_change:+.1f} %"],
        ["a true 10 % would read", f"{found.reads_10_as_pct:.1f} %"],
    ]
    print_table("Check jet", ["", ""], rows)
    shop.say(found.advice)
    if shop.calibration.restrictor is None:
        shop.say("The restrictor has never been calibrated: this compares it with what is assumed of it.")
