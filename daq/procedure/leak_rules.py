"""What a mechanic knows of where the air goes, as one table: sign, cause, points, why.

Each rule says how much one sign speaks for a cause (points above zero) or against it (below). All of it is
common practice, no source, and the points are a judgement: 3 in sum make a cause likely, 1 is a hint. All sentences
of this subject stand in this file.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from daq.records import Place, Strength


class Sign(StrEnum):
    """What the pressures and the crank say; what was heard is a pair (place, strength)."""

    TAPS_HELPED = "taps-helped"
    TAPS_DID_NOTHING = "taps-did-nothing"
    TAPS_MADE_IT_WORSE = "taps-made-it-worse"
    NEIGHBOUR_HIGH = "neighbour-high"
    NEIGHBOURS_LOW = "neighbours-low"
    ALL_HIGH = "all-high"
    ROCKING_CHANGED = "rocking-changed"
    ROCKING_DID_NOTHING = "rocking-did-nothing"
    BOTH_VALVES = "intake-and-exhaust-clear"
    COLD = "cold"


class Cause(StrEnum):
    INTAKE_VALVE = "intake-valve"
    EXHAUST_VALVE = "exhaust-valve"
    SEAT_DIRT = "dirt-on-a-seat"
    RINGS = "rings-piston-or-bore"
    GASKET_BETWEEN = "gasket-to-the-next-cylinder"
    COOLANT_PASSAGE = "gasket-or-crack-to-the-coolant"
    FITTING = "fitting"
    PISTON_POSITION = "piston-not-at-the-top"
    COLD_ENGINE = "cold-engine"
    INSTRUMENT = "instrument"


Seen = tuple[Place, Strength] | Sign


@dataclass(frozen=True, slots=True)
class Rule:
    cause: Cause
    seen: Seen
    points: int
    why: str


C, P, S = Cause, Place, Sign
_NONE, _FAINT, _CLEAR = Strength.NONE, Strength.FAINT, Strength.CLEAR
VALVES = frozenset((C.INTAKE_VALVE, C.EXHAUST_VALVE, C.SEAT_DIRT))
"""Causes that an engine without valves cannot have."""

RULES: tuple[Rule, ...] = (
    Rule(C.INTAKE_VALVE, (P.INTAKE, _CLEAR), 3, "with the piston at the top only a valve lets air out there"),
    Rule(C.INTAKE_VALVE, (P.INTAKE, _FAINT), 1, "a little air passes the intake valve"),
    Rule(C.INTAKE_VALVE, (P.INTAKE, _NONE), -3, "a leaking intake valve can be heard there"),
    Rule(C.INTAKE_VALVE, S.ALL_HIGH, -1, "valves seldom go bad on all cylinders at once"),
    Rule(C.EXHAUST_VALVE, (P.EXHAUST, _CLEAR), 3, "with the piston at the top only a valve lets air out there"),
    Rule(C.EXHAUST_VALVE, (P.EXHAUST, _FAINT), 1, "a little air passes the exhaust valve"),
    Rule(C.EXHAUST_VALVE, (P.EXHAUST, _NONE), -3, "a leaking exhaust valve can be heard there"),
    Rule(C.EXHAUST_VALVE, S.ALL_HIGH, -1, "valves seldom go bad on all cylinders at once"),
    Rule(C.SEAT_DIRT, S.TAPS_HELPED, 3, "a tap frees a seat of dirt or lets the valve seat anew"),
    Rule(C.SEAT_DIRT, S.TAPS_MADE_IT_WORSE, 1, "a tap can also bring dirt onto a seat"),
    Rule(C.SEAT_DIRT, S.TAPS_DID_NOTHING, -2, "loose dirt would have moved"),
    Rule(C.SEAT_DIRT, (P.INTAKE, _CLEAR), 1, "air passes a valve"),
    Rule(C.SEAT_DIRT, (P.EXHAUST, _CLEAR), 1, "air passes a valve"),
    Rule(C.RINGS, (P.CRANKCASE, _CLEAR), 3, "what passes the rings comes out there"),
    Rule(C.RINGS, (P.CRANKCASE, _FAINT), 1, "a faint hiss there is normal, so it says little"),
    Rule(C.RINGS, (P.CRANKCASE, _NONE), -3, "what passes the rings would be heard there"),
    Rule(C.RINGS, S.ROCKING_CHANGED, 1, "rings sit differently in their grooves after rocking"),
    Rule(C.RINGS, S.TAPS_HELPED, -1, "a tap on a valve does nothing to rings"),
    Rule(C.RINGS, S.COLD, 1, "a cold piston and cold rings let more air by"),
    Rule(
        C.GASKET_BETWEEN, (P.NEXT_CYLINDER, _CLEAR), 4, "air reaches another cylinder only past the gasket or a crack"
    ),
    Rule(
        C.GASKET_BETWEEN, (P.NEXT_CYLINDER, _FAINT), 2, "air reaches another cylinder only past the gasket or a crack"
    ),
    Rule(C.GASKET_BETWEEN, (P.NEXT_CYLINDER, _NONE), -3, "the air would be felt at the open plug hole"),
    Rule(C.GASKET_BETWEEN, S.NEIGHBOUR_HIGH, 2, "a gasket burnt through between two cylinders makes both high"),
    Rule(C.GASKET_BETWEEN, S.NEIGHBOURS_LOW, -2, "the cylinder on the other side of the gap would be high as well"),
    Rule(C.COOLANT_PASSAGE, (P.COOLANT, _CLEAR), 4, "bubbles come from a gasket or a crack, and from nowhere else"),
    Rule(C.COOLANT_PASSAGE, (P.COOLANT, _FAINT), 2, "single bubbles may be air left from filling"),
    Rule(C.COOLANT_PASSAGE, (P.COOLANT, _NONE), -3, "bubbles or a rising level would be seen"),
    Rule(C.FITTING, (P.ELSEWHERE, _CLEAR), 4, "that air never reached the cylinder, and counts as loss all the same"),
    Rule(C.FITTING, (P.ELSEWHERE, _FAINT), 2, "that air never reached the cylinder, and counts as loss all the same"),
    Rule(C.FITTING, (P.ELSEWHERE, _NONE), -3, "soap water would show it"),
    Rule(C.FITTING, S.ALL_HIGH, 1, "the same hose and seal serve every cylinder"),
    Rule(C.PISTON_POSITION, S.BOTH_VALVES, 4, "two valves at once is rare, a piston on the wrong stroke is not"),
    Rule(C.PISTON_POSITION, S.ROCKING_CHANGED, 2, "off the top, a valve or a port may stand open"),
    Rule(C.PISTON_POSITION, S.ROCKING_DID_NOTHING, -2, "a valve or port that stands open would close and open"),
    Rule(C.COLD_ENGINE, S.COLD, 1, "a cold engine reads more"),
    Rule(C.COLD_ENGINE, S.ALL_HIGH, 2, "what all cylinders share comes first"),
    Rule(C.INSTRUMENT, S.ALL_HIGH, 2, "what all cylinders share comes first"),
)

PORT_RULES: tuple[Rule, ...] = (
    Rule(C.RINGS, (P.EXHAUST, _CLEAR), 3, "without valves, air at the port has passed piston and rings"),
    Rule(C.RINGS, (P.EXHAUST, _FAINT), 1, "without valves, air at the port has passed piston and rings"),
    Rule(C.RINGS, (P.INTAKE, _CLEAR), 2, "it has passed the rings into the crankcase and on through the intake"),
    Rule(C.PISTON_POSITION, (P.EXHAUST, _CLEAR), 1, "below the top the exhaust port stands open"),
)
"""For engines without valves; they count beside those of `RULES` that do not speak of valves."""


# ---- in words --------------------------------------------------------------------------------------------------

PRACTICE = "(common practice, no source)"

CAUSES: dict[Cause, str] = {
    C.INTAKE_VALVE: "the intake valve does not seal",
    C.EXHAUST_VALVE: "the exhaust valve does not seal",
    C.SEAT_DIRT: "dirt or carbon on a valve seat",
    C.RINGS: "rings, piston or bore",
    C.GASKET_BETWEEN: "head gasket or crack to the next cylinder",
    C.COOLANT_PASSAGE: "head gasket or crack to the coolant",
    C.FITTING: "plug seal, hose, adapter, or another way to the outside",
    C.PISTON_POSITION: "the piston is not at the top of its compression stroke",
    C.COLD_ENGINE: "the engine is cold",
    C.INSTRUMENT: "restrictor or pairing of the tester",
}

CHECKS: dict[Cause, str] = {
    C.INTAKE_VALVE: "Check the clearance of the intake valve, tap it and read again; then look at it through the plug "
    "hole.",
    C.EXHAUST_VALVE: "Check the clearance of the exhaust valve, tap it and read again; then look at its edge through "
    "the plug hole.",
    C.SEAT_DIRT: "Tap both valves again and read again; run the engine hot and repeat.",
    C.RINGS: "Put a spoonful of oil into the cylinder, turn the engine over twice and read again: less loss means "
    "rings or bore.",
    C.GASKET_BETWEEN: "Open the plugs of both neighbours, put air on this cylinder and feel at each hole; then the "
    "other way round.",
    C.COOLANT_PASSAGE: "With the engine cold, open the coolant cap, fill to the brim and watch for bubbles while the "
    "air is on.",
    C.FITTING: "Seal plug thread, hose and adapter, check them with soap water and read again.",
    C.PISTON_POSITION: "Vent the air, find the top of the compression stroke anew and read again.",
    C.COLD_ENGINE: "Run the engine hot and repeat.",
    C.INSTRUMENT: "Pair the channels again with the outlet blocked and clean the restrictor before the engine is "
    "blamed.",
}

PLACES: dict[Place, str] = {
    P.INTAKE: "the intake",
    P.EXHAUST: "the exhaust",
    P.CRANKCASE: "the oil filler or dipstick",
    P.COOLANT: "the coolant",
    P.NEXT_CYLINDER: "the plug hole of the next cylinder",
    P.ELSEWHERE: "plug seal, hose, adapter or anywhere outside",
}
PLUG_OF = "the plug hole of cylinder {cylinder}"

HEARD: dict[Strength, str] = {
    _NONE: "Nothing at {place}",
    _FAINT: "A little air at {place}",
    _CLEAR: "Clearly air at {place}",
}

SIGNS: dict[Sign, str] = {
    S.TAPS_HELPED: "Taps lowered the loss",
    S.TAPS_DID_NOTHING: "Taps changed nothing",
    S.TAPS_MADE_IT_WORSE: "Taps made it worse",
    S.NEIGHBOUR_HIGH: "A neighbouring cylinder is high as well",
    S.NEIGHBOURS_LOW: "No neighbouring cylinder is high",
    S.ALL_HIGH: "All cylinders are high",
    S.ROCKING_CHANGED: "Rocking the crank changed the loss",
    S.ROCKING_DID_NOTHING: "Rocking the crank changed nothing",
    S.BOTH_VALVES: "Clearly air at intake and exhaust at once",
    S.COLD: "The engine is cold",
}

REASON = "{seen}: {why} " + PRACTICE + "."
LIKELY_ONE = "Most likely {cause}."
LIKELY_MORE = "More than one way out, or one that cannot be told from the other: {causes}."
AND = "; "
NOTHING_SAID = "Cannot tell where the air goes: nothing was listened to."
NOTHING_HEARD = "Cannot tell where the air goes: it was heard nowhere."
NOT_ENOUGH = "Cannot tell where the air goes: what was seen fits {causes}, and settles nothing."
NO_FIT = "Cannot tell where the air goes: what was seen contradicts every cause."
LISTEN = (
    "With the air on and all quiet, listen at intake, exhaust and oil filler, look at the coolant, feel at the plug "
    "holes of the neighbours, and put soap water on plug seal and hose."
)
LISTEN_AGAIN = "Listen again at every place with the air on and all quiet."
STILL_TO_CHECK = "Not listened to yet: {places}."
