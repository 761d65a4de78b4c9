"""One bench told line by line: what happened, and what the instrument said, in the order of time."""

from __future__ import annotations

from collections.abc import Iterator

from daq.records import Calibration, Event, Expectation, Fault, StableReading, Tap, TapEffect
from daq.units import PA_PER_PSI
from simulator.timeline import actions_of
from tests.benchmarks.truth.draw import Plan
from tests.benchmarks.truth.oracle import Oracle, ask
from tests.benchmarks.truth.run import board_bytes, measure


def story(plan: Plan) -> list[str]:
    oracle, seen = ask(plan), measure(plan, _calibration(plan), board_bytes(plan))
    told = [
        (at_s, "  does ", f"{type(action).__name__.lower()} {_details(action.model_dump())}")
        for at_s, action in actions_of(plan.scenario)
    ]
    told += [
        (seen.time.scenario_s(event.t_s), "told   ", _say(event, oracle, seen.time.scenario_s(event.t_s)))
        for event in seen.events
    ]
    told += [(hold.from_s + oracle.settled_s(hold), "  true ", "settled") for hold in plan.holds]
    lines = [f"{at_s:7.2f} s {who}{what}" for at_s, who, what in sorted(told)]
    return [*_header(plan), *lines]


def _calibration(plan: Plan) -> Calibration:
    return plan.calibrations.paired or plan.calibrations.data_sheet


def _header(plan: Plan) -> Iterator[str]:
    scenario = plan.scenario
    sections = ("bench", "compressor", "regulator", "board")
    for name in sections:
        yield f"{name}: {_details(getattr(scenario, name).model_dump())}"
    for name in ("supply", "cylinder"):
        yield f"{name} sensor: {_details(getattr(scenario.transducer, name).model_dump())}"
    volume_cc = scenario.engine.clearance_cc + scenario.bench.hose_cc
    yield f"volume {volume_cc:.1f} cc; set point {plan.instrument.set_point_pa / PA_PER_PSI:.2f} psi"


def _details(fields: dict[str, object]) -> str:
    shown = {name: f"{value:.4g}" if isinstance(value, float) else value for name, value in fields.items()}
    return " ".join(
        f"{name}={value}" for name, value in shown.items() if value not in (None, "0", 0) and name not in ("do", "at_s")
    )


def _say(event: Event, oracle: Oracle, time_s: float) -> str:
    match event:
        case StableReading():
            error = event.loss_pct - oracle.end_at(time_s)
            return (
                f"STABLE {event.loss_pct:.3f} +- {event.expanded_u_loss_pct:.3f} (error {error:+.3f}; true loss"
                f" {oracle.off_end_at(time_s):+.3f} from its end; window {event.window_s:.2f} s)"
            )
        case Tap():
            return f"TAP {event.depth_pa / PA_PER_PSI:.2f} psi, over {event.recovery_s:.2f} s after its onset"
        case TapEffect():
            change = f"{event.change_pct:+.3f} (u {event.u_change_pct:.3f})"
            return f"EFFECT {change} {event.verdict.value} {event.probability:.4f}"
        case Expectation():
            return f"EXPECT {event.loss_pct:.2f} in {event.low_pct:.2f} to {event.high_pct:.2f}"
        case Fault():
            return f"FAULT {event.fault}{' over' if event.over else ''}: {event.seen}"
        case _:
            words = [
                str(getattr(event, name)) for name in ("state", "phase", "reason", "cause") if hasattr(event, name)
            ]
            return f"{type(event).__name__} {' '.join(words)}"
