"""`boretight watch` beside a real bench: strangers in its tree, a broker that goes away, a daemon that is killed."""

from __future__ import annotations

import json
import signal

from tests.end_to_end.bench import PATIENCE_S, Bench, Running
from tests.suites.brokers import Mosquitto, publish, until

SPEED = 10
STRANGERS = (
    '{"v":1,"loss_pct":NaN}',
    '{"a":' * 5000 + "1" + "}" * 5000,
    "[" * 60_000,
    '{"bench":"other","boot":"b","seq":0,"supply_gauge_pa":"much"}',
    "no JSON",
    "",
)
TOPICS = ("live", "event", "reading", "session", "status", "describe", "last/1", "availability", "of/another/program")


def strangers(broker: Mosquitto) -> None:
    """Programs that know nothing of us, in the tree of our bench and of another one."""
    for body in STRANGERS:
        for topic in TOPICS[:3] if len(body) > 1000 else TOPICS:
            if topic != "availability":
                publish(broker.port, f"boretight/v1/garage/{topic}", body)
            publish(broker.port, f"boretight/v1/other/{topic}", body)
    stray = {"kind": "mark", "mark": "note", "text": "\x1b[2Jgotcha", "source": "x", "segment": 0}
    head = {"bench": "other", "boot": "b", "seq": 0, "mono_s": 0.0, "t": "2026-01-01T00:00:00.000000Z"}
    publish(broker.port, "boretight/v1/other/event", json.dumps(head | stray))


def test_a_terminal_follows_a_bench_through_strangers_an_outage_and_a_kill(
    mosquitto_bench: Bench, mosquitto: Mosquitto
) -> None:
    bench = mosquitto_bench
    config = bench.config
    screen = bench.start_in_terminal("boretight", "watch", "--config", config)
    plain = bench.start("boretight", "watch", "--config", config)
    as_json = bench.start("boretight", "watch", "--config", config, "--json")
    screen.until(lambda: "Waiting for a bench" in screen.said, "a screen")
    daemon = bench.daemon("--simulate", "--speed", SPEED, "--quiet")
    screen.until(lambda: ">> CAPTURED" in screen.said, "what is wanted")
    plain.until(lambda: "CYLINDER 1 as found: TOO CLOSE TO CALL" in plain.said, "a captured cylinder, judged")
    screen.until(lambda: "too close to call" in screen.said, "the verdict in the table")

    strangers(mosquitto)
    plain.until(lambda: "  other  Mark: note \ufffd[2Jgotcha" in plain.said, "a note of another bench")
    until(lambda: "gotcha" in as_json.said, "the same as JSON")

    mosquitto.stop()
    screen.until(lambda: "THE BROKER IS AWAY" in screen.said, "the outage on the screen")
    for watcher in (plain, as_json):
        watcher.until(lambda told=watcher: "trying again" in told.said, "the outage in words")
    mosquitto.start()
    for watcher in (plain, as_json):
        watcher.until(lambda told=watcher: "there again" in told.said, "the broker in words")
    _goes_on(plain)

    daemon.end(signal.SIGKILL)
    plain.until(lambda: "garage  OFFLINE: the daemon of this bench does not run" in plain.said, "the last will")
    screen.until(lambda: ">> OFFLINE: THE DAEMON" in screen.said, "the last will on the screen")
    for watcher in (screen, plain, as_json):
        assert watcher.end(signal.SIGINT) == 0, watcher.said
        assert "Traceback" not in watcher.said
    assert "\x1b" not in plain.said and "\r" not in plain.said
    assert [line for line in plain.said.splitlines() if "socket" in line] == []
    messages = [json.loads(line) for line in as_json.said.splitlines() if line.startswith("{")]
    assert {message["topic"].split("/")[2] for message in messages} == {"garage", "other"}


def test_whoever_reads_only_the_first_lines_is_told_of_no_fault(mosquitto_bench: Bench) -> None:
    """As `boretight watch | head -n 1` in a shell."""
    bench = mosquitto_bench
    bench.daemon("--simulate", "--speed", SPEED, "--quiet")
    for options in ((), ("--json",)):
        watching = bench.piped("watch", "--config", bench.config, *options)
        assert watching.stdout is not None and watching.stderr is not None
        assert watching.stdout.readline()
        watching.stdout.close()
        with watching:
            assert (watching.wait(PATIENCE_S), watching.stderr.read()) == (0, b"")


def _goes_on(plain: Running) -> None:
    """Readings of after the outage, not the last ones of before."""
    told = len(plain.said)

    def fresh() -> bool:
        lines = [line for line in plain.said[told:].splitlines() if line.startswith("garage | CYLINDER")]
        return any(" | STALE | " not in line for line in lines)

    plain.until(fresh, "readings after the outage")
