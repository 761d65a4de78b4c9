"""Where the air goes: what was heard and what the pressures say, weighed by the table in `leak_rules`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from daq.procedure import leak_rules as words
from daq.procedure.leak_rules import PORT_RULES, RULES, VALVES, Cause, Rule, Seen, Sign
from daq.records import Finding, Place, Strength, TapVerdict

__all__ = ["Cause", "LeakPath", "Pressures", "Standing", "Suspect", "leak_path"]

ENOUGH = 3
"""Points that make a cause likely."""


@dataclass(frozen=True, slots=True)
class Pressures:
    """What the pressures say; None where nothing is known. `valves` is False for engines with ports alone."""

    taps: TapVerdict | None = None
    neighbour_high: bool | None = None
    all_high: bool | None = None
    rocking_changed: bool | None = None
    cold: bool | None = None
    valves: bool = True


class Standing(StrEnum):
    LIKELY = "likely"
    POSSIBLE = "possible"
    UNLIKELY = "unlikely"


@dataclass(frozen=True, slots=True)
class Suspect:
    """One cause. `speaks_for` and `speaks_against` are whole sentences, the weightiest first."""

    cause: Cause
    standing: Standing
    points: int
    name: str
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    next_check: str


@dataclass(frozen=True, slots=True)
class LeakPath:
    """Causes that anything was said about, the likeliest first. `told` is False where it cannot be told."""

    told: bool
    sentence: str
    next_check: str
    suspects: tuple[Suspect, ...]
    heard: tuple[Finding, ...]

    @property
    def likely(self) -> tuple[Cause, ...]:
        return tuple(found.cause for found in self.suspects if found.standing is Standing.LIKELY)


def leak_path(heard: Iterable[Finding], pressures: Pressures) -> LeakPath:
    """Ranked causes for one cylinder; what contradicts a cause takes points from it, and is named.

    The last word on a place counts. Taps say nothing of an engine without valves.
    """
    last = tuple({(told.place, told.neighbour): told for told in heard}.values())
    suspects = _ranked(_seen(last, pressures), pressures.valves)
    likely = [found for found in suspects if found.standing is Standing.LIKELY]
    return LeakPath(bool(likely), _sentence(suspects, last), _next_check(suspects, last), suspects, last)


def _sentence(suspects: tuple[Suspect, ...], heard: tuple[Finding, ...]) -> str:
    likely, possible = (_names(suspects, standing) for standing in (Standing.LIKELY, Standing.POSSIBLE))
    if likely:
        one = len(likely) == 1
        return words.LIKELY_ONE.format(cause=likely[0]) if one else words.LIKELY_MORE.format(causes=_joined(likely))
    if not heard:
        return words.NOTHING_SAID
    if all(told.strength is Strength.NONE for told in heard):
        return words.NOTHING_HEARD
    return words.NOT_ENOUGH.format(causes=_joined(possible)) if possible else words.NO_FIT


def _names(suspects: tuple[Suspect, ...], standing: Standing) -> list[str]:
    return [found.name for found in suspects if found.standing is standing]


def _joined(names: list[str]) -> str:
    return words.AND.join(names)


def _next_check(suspects: tuple[Suspect, ...], heard: tuple[Finding, ...]) -> str:
    """The check of the leading cause; where nothing is likely, also the places that nobody listened at."""
    if suspects and suspects[0].standing is Standing.LIKELY:
        return suspects[0].next_check
    if not heard:
        return words.LISTEN
    listened = {told.place for told in heard}
    left = [name for place, name in words.PLACES.items() if place not in listened]
    lead = suspects[0].next_check if suspects and suspects[0].standing is Standing.POSSIBLE else words.LISTEN_AGAIN
    return f"{lead} {words.STILL_TO_CHECK.format(places=_joined(left))}" if left else lead


# ---- from what was said to signs -------------------------------------------------------------------------------

_TAPS = {
    TapVerdict.IMPROVED: Sign.TAPS_HELPED,
    TapVerdict.NO_CHANGE: Sign.TAPS_DID_NOTHING,
    TapVerdict.WORSE: Sign.TAPS_MADE_IT_WORSE,
}


def _seen(heard: tuple[Finding, ...], pressures: Pressures) -> dict[Seen, str]:
    """Each sign with the words for it; of several plug holes the strongest counts."""
    seen: dict[Seen, str] = {(told.place, told.strength): _in_words(told) for told in heard}
    plugs = [(Place.NEXT_CYLINDER, strength) for strength in (Strength.CLEAR, Strength.FAINT, Strength.NONE)]
    for weaker in [sign for sign in plugs if sign in seen][1:]:
        del seen[weaker]
    signs = list(_signs(pressures))
    if pressures.valves and {(Place.INTAKE, Strength.CLEAR), (Place.EXHAUST, Strength.CLEAR)} <= seen.keys():
        signs.append(Sign.BOTH_VALVES)
    return seen | {sign: words.SIGNS[sign] for sign in signs}


def _signs(pressures: Pressures) -> Iterable[Sign]:
    if pressures.valves and pressures.taps in _TAPS:
        yield _TAPS[pressures.taps]
    answers = (
        (pressures.neighbour_high, Sign.NEIGHBOUR_HIGH, Sign.NEIGHBOURS_LOW),
        (pressures.rocking_changed, Sign.ROCKING_CHANGED, Sign.ROCKING_DID_NOTHING),
        (pressures.all_high, Sign.ALL_HIGH, None),
        (pressures.cold, Sign.COLD, None),
    )
    for answer, if_yes, if_no in answers:
        sign = if_yes if answer else if_no
        if answer is not None and sign is not None:
            yield sign


def _in_words(told: Finding) -> str:
    place = words.PLACES[told.place]
    if told.place is Place.NEXT_CYLINDER and told.neighbour is not None:
        place = words.PLUG_OF.format(cylinder=told.neighbour)
    return words.HEARD[told.strength].format(place=place)


# ---- from signs to causes --------------------------------------------------------------------------------------


def _ranked(seen: dict[Seen, str], valves: bool) -> tuple[Suspect, ...]:
    rules = [rule for rule in _rules(valves) if rule.seen in seen]
    causes = dict.fromkeys(rule.cause for rule in rules)
    suspects = [_suspect(cause, [rule for rule in rules if rule.cause is cause], seen) for cause in causes]
    return tuple(sorted(suspects, key=lambda found: (-found.points, list(Cause).index(found.cause))))


def _rules(valves: bool) -> Iterable[Rule]:
    return RULES if valves else (*(rule for rule in RULES if rule.cause not in VALVES), *PORT_RULES)


def _suspect(cause: Cause, rules: list[Rule], seen: dict[Seen, str]) -> Suspect:
    points = sum(rule.points for rule in rules)
    by_weight = sorted(rules, key=lambda rule: -abs(rule.points))
    reasons = {rule: words.REASON.format(seen=seen[rule.seen], why=rule.why) for rule in by_weight}
    return Suspect(
        cause,
        _standing(points),
        points,
        words.CAUSES[cause],
        tuple(text for rule, text in reasons.items() if rule.points > 0),
        tuple(text for rule, text in reasons.items() if rule.points < 0),
        words.CHECKS[cause],
    )


def _standing(points: int) -> Standing:
    if points >= ENOUGH:
        return Standing.LIKELY
    return Standing.POSSIBLE if points > 0 else Standing.UNLIKELY
