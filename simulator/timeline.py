"""A scenario as a row of moments: what is done to the rig, and when."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from simulator.actions import Action, Air, Connect, Rig
from simulator.errors import ScenarioError
from simulator.scenario import Scenario


@dataclass(frozen=True, slots=True)
class Cue:
    """Do this to the rig at this time of the scenario."""

    at_s: float
    perform: Callable[[Rig], None]


@dataclass(frozen=True, slots=True)
class Timeline:
    """Cues in the order of time. `ends_s` is None for a scenario without end."""

    cues: tuple[Cue, ...]
    ends_s: float | None


def timeline_of(scenario: Scenario) -> Timeline:
    """Raises ScenarioError when an action hangs on an air that is never opened."""
    timed = actions_of(scenario)
    cues = sorted((cue for at_s, action in timed for cue in _cues(at_s, action)), key=lambda cue: cue.at_s)
    last_s = max((cue.at_s for cue in cues), default=0.0)
    if (script := scenario.played) is not None:
        last_s = max(last_s, script.length_s)
    return Timeline(tuple(cues), None if scenario.endless else last_s + scenario.tail_s)


def actions_of(scenario: Scenario) -> list[tuple[float, Action]]:
    """Every action with its time, those of the script first; in the order of time, equal times in the order named."""
    timed = script.actions() if (script := scenario.played) else []
    air_on_s = _air_on_s(timed)
    previous_s = 0.0
    for place, action in enumerate(scenario.action, 1):
        previous_s = _time_s(action, previous_s, air_on_s, place)
        timed.append((previous_s, action))
    return sorted(timed, key=lambda item: item[0])


def _cues(at_s: float, action: Action) -> Iterator[Cue]:
    for offset_s, duration_s in action.spans():
        yield Cue(at_s + offset_s, action.begin)
        if duration_s is not None:
            yield Cue(at_s + offset_s + duration_s, action.end)


def _time_s(action: Action, previous_s: float, air_on_s: dict[int, float], place: int) -> float:
    if action.at_s is not None:
        return action.at_s
    after_s = action.after_s or 0.0
    if action.after_air_on is None:
        return previous_s + after_s
    if action.after_air_on not in air_on_s:
        what = f"Action {place} waits for the air on cylinder {action.after_air_on}, which the script never opens."
        raise ScenarioError(what, "Give it at_s, or name a cylinder of the script.")
    return air_on_s[action.after_air_on] + after_s


def _air_on_s(timed: list[tuple[float, Action]]) -> dict[int, float]:
    opened: dict[int, float] = {}
    connected: int | None = None
    for at_s, action in timed:
        if isinstance(action, Connect):
            connected = action.cylinder
        elif isinstance(action, Air) and connected is not None:
            opened[connected] = at_s
    return opened
