"""The commands beside `run` and `demo`, against a daemon and a board that are really there."""

from __future__ import annotations

import json
import signal

from tests.end_to_end.bench import Bench
from tests.suites.brokers import Mosquitto

SPEED = 10


def test_ports_says_what_answers(bench: Bench) -> None:
    bench.board("steady", SPEED)
    nobody = bench.folder / "nobody"
    done = bench.run("ports", "--json", bench.link, nobody)
    assert done.returncode == 0, done.stderr
    answers = {found["port"]: found["answers"] for found in json.loads(done.stdout)}
    assert answers[str(bench.link)] == "Boretight Simulated board SIM0001, firmware 1.0, 12 bit"
    assert answers[str(nobody)].startswith("cannot be opened")


def test_watch_shows_a_bench_from_its_messages_alone(mosquitto_bench: Bench, mosquitto: Mosquitto) -> None:
    """In a pipe, for a program and for a person; and Ctrl-C ends it cleanly."""
    bench = mosquitto_bench
    program = bench.start("boretight", "watch", "--config", bench.config, "--json")
    person = bench.start("boretight", "watch", "--config", bench.config)
    daemon = bench.daemon("--simulate", "--speed", SPEED, "--quiet")
    program.until(lambda: '/reading", ' in program.said and '/live", ' in program.said, "readings as JSON")
    person.until(lambda: "garage | CYLINDER 1" in person.said and "STABLE" in person.said, "a reading in words")
    for watcher in (program, person):
        assert watcher.end(signal.SIGINT) == 0
        assert "Traceback" not in watcher.said
    assert daemon.end() == 0
    assert daemon.said == ""
    messages = [json.loads(line) for line in program.said.splitlines()]
    assert {message["bench"] for message in messages if "bench" in message} == {"garage"}
