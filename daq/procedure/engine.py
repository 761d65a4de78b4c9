"""The engine: the order of its cylinders, how they sit, what turns them, and what cannot be judged of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from daq.errors import UsageError
from daq.procedure.crank_geometry import CrankGeometry
from daq.units import M_PER_INCH

MOST_CYLINDERS = 16
CYCLE_DEG = {4: 720.0, 2: 360.0}
"""Degrees of crank from one firing of a cylinder to its next, by the number of strokes."""
CLOSED_DEG = 0.01
"""By so much the firing intervals may miss the cycle: they are written down with two decimals."""
LARGE_BORE_M = 5.00 * M_PER_INCH
SMALL_RESTRICTOR_M, LARGE_RESTRICTOR_M = 0.040 * M_PER_INCH, 0.060 * M_PER_INCH
"""Below `LARGE_BORE_M`, and from it on. Ref: AC 43.13-1B Chg 1, chapter 8, paragraph 8-14."""


@dataclass(frozen=True, slots=True)
class EngineOrder:
    """`firing_order` names each cylinder once; the test follows it, so that the crank is turned least.

    Raises UsageError if the order is no permutation of 1..n.
    """

    name: str
    firing_order: tuple[int, ...]

    def __post_init__(self) -> None:
        n = len(self.firing_order)
        if not 1 <= n <= MOST_CYLINDERS:
            raise UsageError(
                f"An engine has 1 to {MOST_CYLINDERS} cylinders.",
                "Test a larger one bank by bank, as an engine of its own each.",
                f"{n} in the firing order",
            )
        if sorted(self.firing_order) != list(range(1, n + 1)):
            raise UsageError(
                "A firing order must name each cylinder exactly once, numbered from 1.",
                todo="Write it as it stands in the engine's manual, for example 1-3-4-2.",
                evidence=dashed(self.firing_order),
            )

    def after(self, cylinder: int) -> int | None:
        """The cylinder that follows, or None after the last of the order."""
        place = self.firing_order.index(cylinder) + 1
        return self.firing_order[place] if place < len(self.firing_order) else None

    def before(self, cylinder: int) -> int | None:
        """The cylinder that came before, or None at the first."""
        place = self.firing_order.index(cylinder)
        return self.firing_order[place - 1] if place else None


class Layout(StrEnum):
    SINGLE = "single"
    INLINE = "inline"
    VEE = "vee"
    FLAT = "flat"
    RADIAL = "radial"
    OTHER = "other"


class Rotation(StrEnum):
    CLOCKWISE = "clockwise"
    COUNTER_CLOCKWISE = "counter-clockwise"


class End(StrEnum):
    """From where one looks at the crank. The front is the end away from the flywheel."""

    FRONT = "front"
    FLYWHEEL = "flywheel"
    PROPELLER = "propeller"
    REAR = "rear"


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineProfile:
    """All that a test wants to know of an engine. What is None or empty is not known.

    `banks`: the rows of cylinders, each from the front; a row of an inline engine need not be given.
    `intervals_deg`: degrees of crank from each cylinder of the firing order to the next, from the last back to the
    first; empty if the engine fires evenly. `clearance_m3`: the volume left at top dead centre, or else
    `compression_ratio`, swept and clearance volume over clearance volume. `own_restrictor_m`: a bore of one's own
    instead of that of AC 43.13-1B. `separate_cylinders`: each has a barrel and a head of its own, and shares no gasket.
    Raises UsageError for what cannot be, with the reason.
    """

    name: str
    firing_order: tuple[int, ...]
    layout: Layout = Layout.OTHER
    banks: tuple[tuple[int, ...], ...] = ()
    strokes: int = 4
    intervals_deg: tuple[float, ...] = ()
    bore_m: float | None = None
    stroke_m: float | None = None
    rod_length_m: float | None = None
    clearance_m3: float | None = None
    compression_ratio: float | None = None
    rotation: Rotation | None = None
    seen_from: End = End.FRONT
    own_restrictor_m: float | None = None
    set_point_pa: float | None = None
    valves: bool = True
    separate_cylinders: bool = False
    certified: bool = False
    notes: str = ""

    def __post_init__(self) -> None:
        EngineOrder(self.name, self.firing_order)
        _check_cycle(self)
        _check_layout(self)
        _check_banks(self)
        _check_lengths(self)
        _check_volume(self)

    @property
    def order(self) -> EngineOrder:
        return EngineOrder(self.name, self.firing_order)

    @property
    def cylinders(self) -> int:
        return len(self.firing_order)

    @property
    def cycle_deg(self) -> float:
        return CYCLE_DEG[self.strokes]

    @property
    def firing_intervals_deg(self) -> tuple[float, ...]:
        """As many as cylinders: from each of the firing order to the next, from the last back to the first."""
        return self.intervals_deg or (self.cycle_deg / self.cylinders,) * self.cylinders

    @property
    def rows(self) -> tuple[tuple[int, ...], ...]:
        """The banks, with the one row of an inline engine; empty if it is not known who sits where."""
        in_a_row = self.layout in (Layout.INLINE, Layout.SINGLE)
        return self.banks or ((tuple(range(1, self.cylinders + 1)),) if in_a_row else ())

    def neighbours(self, cylinder: int) -> tuple[int, ...]:
        """The cylinders beside it in its bank, which share a wall and a land of the head gasket with it."""
        if self.separate_cylinders:
            return ()
        row = next((row for row in self.rows if cylinder in row), ())
        return tuple(other for other in row if abs(row.index(other) - row.index(cylinder)) == 1)

    @property
    def geometry(self) -> CrankGeometry | None:
        """None unless bore, stroke and rod are all known."""
        if self.bore_m is None or self.stroke_m is None or self.rod_length_m is None:
            return None
        return CrankGeometry(self.bore_m, self.stroke_m, self.rod_length_m, self._clearance_m3())

    def _clearance_m3(self) -> float | None:
        if self.compression_ratio is None or self.bore_m is None or self.stroke_m is None:
            return self.clearance_m3
        return math.pi / 4 * self.bore_m**2 * self.stroke_m / (self.compression_ratio - 1)

    @property
    def restrictor_m(self) -> float | None:
        """The bore of the restrictor that this engine is tested with; None if neither it nor the bore is known."""
        if self.own_restrictor_m is not None or self.bore_m is None:
            return self.own_restrictor_m
        return LARGE_RESTRICTOR_M if self.bore_m >= LARGE_BORE_M - 1e-9 else SMALL_RESTRICTOR_M

    @property
    def cannot_judge(self) -> tuple[str, ...]:
        """What this method does not tell of this engine, a sentence each."""
        chosen = [sentence for holds, sentence in _limits(self) if holds]
        return (*ALWAYS_HIDDEN, *chosen)


ALWAYS_HIDDEN = (
    "Rings and bore are tested at top dead centre only: wear lower down the bore is not seen.",
    "Bearings, valve lift and timing, and whatever leaks only at running speed or heat are not tested.",
)
NO_VALVES = "There are no valves to tap: a reading cannot be bettered by reseating one."
PORTS = "The piston covers the ports at top dead centre: ports and reeds are not judged, nor how rings pass them."
CRANKCASE = (
    "A two-stroke that breathes through its crankcase needs the crankcase tight: its seals and gaskets want a pressure "
    "test of their own."
)
NO_COMPARISON = "There is one cylinder only: it cannot be compared with others, only with a limit and its own past."
NO_BANKS = "Who sits beside whom is not known: a leak between two cylinders cannot be told from two leaks."
NO_GEOMETRY = "Bore, stroke and rod are not all known: how far off top dead centre is tolerable cannot be said."
HANGING_RODS = (
    "All rods but the master rod hang on it: degrees and tolerances here are those of the master rod's cylinder, "
    "near for the others."
)
CERTIFIED = (
    "Whether a certified engine may fly is not judged here: licensed people alone decide and sign, by the maker's "
    "instructions."
)


def _limits(profile: EngineProfile) -> tuple[tuple[bool, str], ...]:
    unknown_rows = profile.cylinders > 1 and not profile.rows and not profile.separate_cylinders
    return (
        (not profile.valves, NO_VALVES),
        (profile.strokes == 2, PORTS),
        (profile.strokes == 2 and not profile.valves, CRANKCASE),
        (profile.cylinders == 1, NO_COMPARISON),
        (unknown_rows, NO_BANKS),
        (profile.geometry is None, NO_GEOMETRY),
        (profile.layout is Layout.RADIAL, HANGING_RODS),
        (profile.certified, CERTIFIED),
    )


# ---- what cannot be


def _check_cycle(profile: EngineProfile) -> None:
    if profile.strokes not in CYCLE_DEG:
        raise UsageError("An engine has 4 or 2 strokes.", "Leave `strokes` out for 4.", f"{profile.strokes} strokes")
    intervals, cycle = profile.intervals_deg, profile.cycle_deg
    if not intervals:
        return
    if len(intervals) != profile.cylinders:
        raise UsageError(
            "There must be as many firing intervals as cylinders, the last from the last cylinder back to the first.",
            todo="Write one for each cylinder in firing order, or leave them out where they are not known.",
            evidence=f"{len(intervals)} intervals, {profile.cylinders} cylinders",
        )
    if not all(0 <= interval <= cycle for interval in intervals) or abs(math.fsum(intervals) - cycle) > CLOSED_DEG:
        raise UsageError(
            f"Firing intervals must be 0 or more and, with {profile.strokes} strokes, make {cycle:g} degrees together.",
            todo="Take them from the engine's manual, in degrees of crank; leave them out if they are not known.",
            evidence=f"{' + '.join(f'{i:g}' for i in intervals)} = {math.fsum(intervals):g}",
        )


def _check_layout(profile: EngineProfile) -> None:
    single, one = profile.layout is Layout.SINGLE, profile.cylinders == 1
    if single != one and profile.layout not in (Layout.OTHER, Layout.RADIAL):
        raise UsageError(
            "The layout does not go with the number of cylinders: one cylinder is `single`, and `single` is one.",
            todo=f"Use one of {', '.join(Layout)}; `other` goes with any number.",
            evidence=f"{profile.layout}, {profile.cylinders} cylinders",
        )
    wanted = {Layout.SINGLE: 1, Layout.INLINE: 1, Layout.VEE: 2, Layout.FLAT: 2}.get(profile.layout)
    if profile.banks and wanted is not None and len(profile.banks) != wanted:
        raise UsageError(
            f"A layout called {profile.layout} has {wanted} bank{'s' if wanted > 1 else ''}.",
            todo="Name the cylinders of each bank from the front; `other` is the layout of all the rest.",
            evidence=f"{len(profile.banks)} banks",
        )


def _check_banks(profile: EngineProfile) -> None:
    seated = sorted(cylinder for bank in profile.banks for cylinder in bank)
    if profile.banks and seated != list(range(1, profile.cylinders + 1)):
        raise UsageError(
            "Each cylinder must sit in exactly one bank, exactly once.",
            todo="Write each bank from the front, for example 1-3-5-7 and 2-4-6-8.",
            evidence=f"{' / '.join(map(dashed, profile.banks))} for {profile.cylinders} cylinders",
        )


LENGTHS_M = {
    "bore_m": ("bore", 0.01, 1.0),
    "stroke_m": ("stroke", 0.01, 2.0),
    "rod_length_m": ("rod", 0.01, 5.0),
    "own_restrictor_m": ("restrictor", 0.0001, 0.01),
}
"""What can be, in metres: from models to ships."""


def _check_lengths(profile: EngineProfile) -> None:
    for field, (word, least, most) in LENGTHS_M.items():
        length = getattr(profile, field)
        if length is not None and not least <= length <= most:
            raise UsageError(
                f"The {word} must lie between {least * 1000:g} and {most * 1000:g} mm.",
                todo="Check its unit: inches or millimetres?",
                evidence=f"{length * 1000:g} mm",
            )
    rod, stroke = profile.rod_length_m, profile.stroke_m
    if rod is not None and stroke is not None and rod <= stroke / 2:
        raise UsageError(
            "The rod must be longer than half of the stroke, or the crank cannot turn round.",
            todo="The rod is measured between the centres of its two eyes.",
            evidence=f"rod {rod * 1000:g} mm, half of the stroke {stroke * 500:g} mm",
        )


def _check_volume(profile: EngineProfile) -> None:
    clearance, ratio = profile.clearance_m3, profile.compression_ratio
    if clearance is not None and ratio is not None:
        raise UsageError(
            "Give the clearance volume or the compression ratio, not both.",
            "Leave the ratio out: with bore and stroke it follows from the volume.",
        )
    if ratio is not None and not 1.5 <= ratio <= 40:
        raise UsageError("A compression ratio lies between 1.5 and 40.", "Write 9.5 for 9.5 : 1.", f"{ratio:g}")
    if clearance is not None and not 1e-7 <= clearance <= 1.0:
        raise UsageError(
            "The clearance volume must lie between 0.1 and 1000000 cm3.",
            todo="Check its unit: cubic inches or cubic centimetres?",
            evidence=f"{clearance * 1e6:g} cm3",
        )
    if profile.set_point_pa is not None and not 1e4 <= profile.set_point_pa <= 2e6:
        raise UsageError(
            "The set point must lie between 10 and 2000 kPa (1.5 and 290 psi).",
            todo="Check its unit: psi, kPa or bar? AC 43.13-1B tests at 80 psi.",
            evidence=f"{profile.set_point_pa / 1000:g} kPa",
        )


def dashed(cylinders: tuple[int, ...]) -> str:
    """As a manual prints it: `1-3-4-2`."""
    return "-".join(map(str, cylinders))
