"""The worked examples for dashboards of others, run word for word: a general MQTT client, and an outage with it.

The client finds its port in a file of its user's, so the commands are those of a broker on the usual port.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.end_to_end.bench import PATIENCE_S, Bench, Running
from tests.suites.brokers import Mosquitto, until

SPEED = 10

LIVE = "mosquitto_sub -t 'boretight/v1/garage/live' -C 1"
READING = "mosquitto_sub -t 'boretight/v1/garage/reading' -C 1"
SESSION = "mosquitto_sub -t 'boretight/v1/garage/session' -C 1"
CUE = """mosquitto_sub -t 'boretight/v1/garage/event' | grep -m 1 '"kind":"cue"'"""

KEPT = "mosquitto_sub -c -i wall -q 1 -t 'boretight/v1/garage/event' >> wall.txt"
PLAIN = "mosquitto_sub -t 'boretight/v1/garage/event' >> laptop.txt"
ONLINE = "mosquitto_sub -t 'boretight/v1/garage/availability' -C 2"
MISSING = """\
sed -E 's/.*"boot":"([^"]+)","seq":([0-9]+),.*/\\1 \\2/' {file} | sort -u -k1,1 -k2,2n |
  awk '$1 == boot && $2 > seq + 1 { print "missing", seq + 1, "to", $2 - 1 } { boot = $1; seq = $2 }'"""
"""A message that comes twice is taken once; a number that was passed over did not come."""


class Shell:
    """Runs command lines as somebody at a prompt does, in the folder of a bench."""

    def __init__(self, bench: Bench) -> None:
        self._folder = bench.folder
        self._env = bench.env | {"XDG_CONFIG_HOME": str(bench.folder / "settings")}
        self._background: list[subprocess.Popen[str]] = []
        settings = bench.folder / "settings" / "mosquitto_sub"
        settings.parent.mkdir()
        settings.write_text(f"-p {bench.mqtt_port}\n")

    def run(self, line: str) -> str:
        started = self.start(line)
        try:
            said, _ = started.communicate(timeout=PATIENCE_S)
        finally:
            self.stop(started)
        return said

    def start(self, line: str) -> subprocess.Popen[str]:
        started = subprocess.Popen(
            ["bash", "-c", line], cwd=self._folder, env=self._env, stdout=subprocess.PIPE, text=True,
            start_new_session=True,
        )  # fmt: skip
        self._background.append(started)
        return started

    def stop(self, started: subprocess.Popen[str]) -> None:
        """As Ctrl-C does: it and all that it started."""
        if started.poll() is None:
            os.killpg(started.pid, signal.SIGINT)
            started.wait(PATIENCE_S)

    def close(self) -> None:
        for started in self._background:
            self.stop(started)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """One that knows after a kill what its clients subscribed to."""
    keeping = "persistence true\nautosave_on_changes true\nautosave_interval 1"
    broker = Mosquitto(tmp_path, f"allow_anonymous true\n{keeping}\npersistence_location {tmp_path}/\n")
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture
def bench(tmp_path: Path, broker: Mosquitto) -> Iterator[Bench]:
    bench = Bench(tmp_path, broker)
    yield bench
    bench.close()


@pytest.fixture
def shell(bench: Bench) -> Iterator[Shell]:
    shell = Shell(bench)
    yield shell
    shell.close()


def test_a_general_client_reads_a_bench(bench: Bench, shell: Shell) -> None:
    bench.board(bench.lasting("four-cylinder"), SPEED)
    asked = {name: shell.start(line) for name, line in (("reading", READING), ("cue", CUE))}
    bench.daemon("--quiet")
    said = {name: json.loads(started.communicate(timeout=PATIENCE_S)[0]) for name, started in asked.items()}
    said |= {"live": json.loads(shell.run(LIVE)), "session": json.loads(shell.run(SESSION))}
    assert {message["bench"] for message in said.values()} == {"garage"}
    assert 0 < said["live"]["supply_gauge_shown"] < 110 and said["live"]["shown_unit"] == "[psi]"
    assert said["reading"]["cylinder"] == 1 and 0 < said["reading"]["expanded_u_loss_pct"] < 2
    assert (said["session"]["engine"], said["session"]["phase"] != "") == ("invented four", True)
    assert said["cue"]["text"] != ""


def test_an_outage_and_a_kill_lose_nothing_and_what_was_not_heard_is_found(
    bench: Bench, shell: Shell, broker: Mosquitto
) -> None:
    wall, laptop = bench.folder / "wall.txt", bench.folder / "laptop.txt"
    shell.start(KEPT)
    listening = shell.start(PLAIN)
    daemon = bench.daemon("--quiet")
    bench.board(bench.lasting("four-cylinder"), SPEED)
    daemon.until(lambda: all('"kind":"cylinder-done"' in _text(file) for file in (wall, laptop)), "a first cylinder")

    shell.stop(listening)  # the laptop is closed
    broker.signal(signal.SIGKILL)
    broker.stop()
    daemon.until(lambda: len(bench.results()) == 2 and _waiting(bench) > 5, "events that wait")
    broker.start()
    _until_told(daemon, bench, wall, cylinders=2)
    shell.start(PLAIN)  # and opened again
    for file in (wall, laptop):
        _until_told(daemon, bench, file, cylinders=3)
    missing = shell.run(MISSING.replace("{file}", "laptop.txt")).splitlines()
    assert len(missing) == 1 and missing[0].startswith("missing "), missing
    assert shell.run(MISSING.replace("{file}", "wall.txt")) == ""

    online = shell.start(ONLINE)
    assert online.stdout is not None and online.stdout.readline() == "online\n"
    daemon.end(signal.SIGKILL)
    assert online.stdout.readline() == "offline\n", "the last will"
    daemon = bench.daemon("--quiet")
    daemon.until(lambda: len(_boots(wall)) == 2, "the next run")
    daemon.until(lambda: not _waiting(bench), "an empty outbox")

    assert shell.run(MISSING.replace("{file}", "wall.txt")) == ""
    stored = [row["body"] for row in bench.rows("SELECT body FROM event WHERE stream = 'event' ORDER BY id")]
    heard = list(dict.fromkeys(wall.read_text().splitlines()))
    assert heard == stored[: len(heard)] and len(heard) > 40


def _boots(file: Path) -> set[str]:
    return {json.loads(line)["boot"] for line in _text(file).splitlines()}


def _text(file: Path) -> str:
    return file.read_text() if file.exists() else ""


def _waiting(bench: Bench) -> int:
    return len(bench.rows("SELECT id FROM event WHERE body IS NOT NULL AND announced_utc IS NULL"))


def _until_told(daemon: Running, bench: Bench, file: Path, cylinders: int) -> None:
    """So many cylinders are done, and the one who listens has heard of all of them."""
    daemon.until(lambda: len(bench.results()) >= cylinders, f"cylinder {cylinders}")
    (last, *_) = bench.rows("SELECT body FROM event WHERE kind = 'cylinder_done' ORDER BY id DESC")
    until(lambda: last["body"] in _text(file), "the news of it")
