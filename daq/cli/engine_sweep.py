"""`boretight engine sweep`: top dead centre by chalk and ear, the crank turned by hand over the top and back."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import asdict
from pathlib import Path

import numpy as np

from daq import engine_files
from daq.cli.live_ticks import LiveTicks, wait_until_still
from daq.cli.output import print_json
from daq.cli.workshop import Board, Workshop, open_workshop
from daq.errors import DataError
from daq.measure.calibration import pressures
from daq.procedure.crank_geometry import (
    NM_PER_LBF_FT,
    RESISTANCE_CAUTION,
    CrankGeometry,
    assumed_resistance_nm,
)
from daq.procedure.engine import EngineProfile
from daq.procedure.tdc_sweep import NotUsable, SweepEstimate, two_way_sweep
from daq.procedure.tone_watch import REST_ROWS, ToneWatch, at_rest
from daq.records import Board as BoardRecord
from daq.records import Floats, Pressures, Ticks

LONGEST_S = 90.0
SETTLED = 0.01
"""Of the pressure at rest: so near to it again the second pass is over."""
TONE = "\a"
GUIDE = """\
Regulator at 20 psi (138 kPa), no more. All other plugs out. Turn by hand, on the damper, and leave no bar or socket on
the crank: past the top the air pushes it on. Stand clear of fan, belts and propeller.
Put a pointer beside the damper. Turn to about 35 degrees before the top of the compression stroke and hold still."""
GO = """\
Now turn slowly and evenly, in three seconds or more, over the top to about 35 degrees behind it; when it sounds, make
a mark at the pointer. Hold still for three seconds; then back the same way at the same pace, mark, hold still."""
NOT_STILL = "The pressures do not come to rest, so there is nothing to compare with."


def sweep(
    key: str, hose_cm3: float, resistance_lbf_ft: float | None, config_path: Path | None, board: Board, as_json: bool
) -> None:
    """Guides through both passes, and says where the top is, or why it cannot say so."""
    shop = open_workshop(config_path, as_json, engine={"profile": ""})
    profile = engine_files.load_engine(shop.config.storage.engines, key)
    geometry = profile.geometry
    if geometry is None:
        raise DataError("This needs bore, stroke and rod.", f"`boretight engine edit {key}` adds them.")
    with shop.live(board) as live:
        shop.say(GUIDE)
        rows = taken(live, shop)
    tolerable = tolerable_rad(profile, geometry, shop, resistance_lbf_ft)
    found = two_way_sweep(*rows, geometry, shop.instrument, hose_cm3 * 1e-6, tolerable)
    tell(found, shop)


def taken(live: LiveTicks, shop: Workshop) -> tuple[Floats, Floats, Floats]:
    """Time and both pressures, from the rest before the first pass on."""
    if wait_until_still(live, shop.calibration, shop.instrument.set_point_pa) is None:
        raise DataError(NOT_STILL, "Let the regulator settle, hold the crank, and begin again.")
    live.forget()
    shop.say(GO)
    return collected(live, lambda: live.board, shop)


def collected(
    ticks: Iterable[Ticks], board: Callable[[], BoardRecord], shop: Workshop
) -> tuple[Floats, Floats, Floats]:
    """Until both passes are over and the pressure is at rest again, or time is up; a tone at each fall."""
    watch, blocks = ToneWatch(), list[Pressures]()
    for block in ticks:
        blocks.append(pressures(block, board(), shop.calibration))
        for _ in watch.feed(blocks[-1].cylinder_gauge_pa):
            shop.say(f"{TONE}MARK {len(watch.humps)}")
        rows = _joined(blocks)
        if over(rows, watch) or rows[0][-1] - rows[0][0] > LONGEST_S:
            break
    return _joined(blocks)


def _joined(blocks: list[Pressures]) -> tuple[Floats, Floats, Floats]:
    return (
        np.concatenate([block.t_s for block in blocks]),
        np.concatenate([block.supply_gauge_pa for block in blocks]),
        np.concatenate([block.cylinder_gauge_pa for block in blocks]),
    )


def over(rows: tuple[Floats, Floats, Floats], watch: ToneWatch) -> bool:
    """Both tones have sounded, a second ago at least, and the pressure is what it was at first."""
    t_s, _, cylinder = rows
    if len(watch.humps) < 2 or len(t_s) < watch.humps[-1].fall + 2 * REST_ROWS:
        return False
    before, noise = at_rest(cylinder[:REST_ROWS])
    late = cylinder[-REST_ROWS:]
    return float(np.abs(late - before).max()) < max(SETTLED * before, 4 * noise)


def tolerable_rad(
    profile: EngineProfile, geometry: CrankGeometry, shop: Workshop, resistance_lbf_ft: float | None
) -> float:
    """What the crank bears at the set point of the test that follows."""
    guess_lbf_ft = assumed_resistance_nm(profile.cylinders) / NM_PER_LBF_FT
    set_point = profile.set_point_pa or shop.instrument.set_point_pa
    return geometry.tolerable_rad(set_point, (resistance_lbf_ft or guess_lbf_ft) * NM_PER_LBF_FT)


def tell(found: SweepEstimate | NotUsable, shop: Workshop) -> None:
    if shop.as_json:
        usable = isinstance(found, SweepEstimate) and found.usable
        print_json({"usable": usable, **asdict(found), "caution": RESISTANCE_CAUTION})
        return
    for sentence in sentences(found):
        print(sentence)
    print(f"CAUTION: {RESISTANCE_CAUTION}")


def sentences(found: SweepEstimate | NotUsable) -> list[str]:
    """What is known, whether it is enough, and how the marks themselves check it."""
    if isinstance(found, NotUsable):
        return [found.reason]
    on, apart, wide = (math.degrees(a) for a in (found.from_middle_rad, found.apart_rad, found.expanded_rad))
    early = math.degrees(found.forward.lead_rad)
    place = (
        f"Top dead centre lies halfway between the marks, and from there {abs(on):.1f} degrees on in the direction of "
        f"the {'first' if on >= 0 else 'second'} pass: +-{wide:.1f} degrees."
    )
    check = (
        f"The mark of the first pass should lie about {apart:.0f} degrees beyond that of the second, in the direction "
        "of the first. If it does not, the crank did not go over the top: do it again."
    )
    one_way = f"The peak of one pass alone would have been {early:.0f} degrees too early."
    return [place, check, one_way] if found.usable else [found.reason, place, one_way]
