"""The command line of the simulator, in a process of its own."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daq.wire import Boot, Decoder, Reply, SampleBlock
from simulator.scenario import built_in, load
from simulator.simulation import render

SHORT = """
title = "short"
engine = { name = "invented", order = [1] }
cylinder = [{ number = 1, leaks_mm2 = { exhaust = 0.4 } }]
action = [{ do = "connect", cylinder = 1, at_s = 0 }, { do = "air", at_s = 2 }]
"""


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "simulator", *arguments], capture_output=True, text=True, timeout=60, check=False
    )


@contextmanager
def served(*arguments: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    command = [sys.executable, "-m", "simulator", "serve", *arguments, "--json"]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True) as process:
        try:
            assert process.stdout is not None
            yield process, json.loads(process.stdout.readline())["url"]
        finally:
            process.kill()


@pytest.fixture
def short(tmp_path: Path) -> str:
    path = tmp_path / "short.toml"
    path.write_text(SHORT, encoding="utf-8")
    return str(path)


def connect(url: str) -> socket.socket:
    host, number = url.removeprefix("socket://").split(":")
    return socket.create_connection((host, int(number)), timeout=30)


def test_serves_a_scenario_on_tcp_to_its_end(short: str) -> None:
    received = b""
    with served(short, "--tcp", "0", "--speed", "10") as (process, url), connect(url) as host:
        host.sendall(b"\n@0001 *IDN?\n@0002 INIT\n")
        while data := host.recv(65_536):
            received += data
        assert process.wait(30) == 0
    frames = Decoder().feed(received)
    assert Reply(1, 0, "Boretight,Simulated board,SIM0001,1.0") in frames
    assert sum(len(frame) for frame in frames if isinstance(frame, SampleBlock)) == 600


def test_ends_when_standard_input_ends() -> None:
    with served("steady", "--tcp", "0", "--exit-with-stdin") as (process, _):
        assert process.poll() is None
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(30) == 0


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ends_cleanly_when_asked_to(number: signal.Signals) -> None:
    with served("steady", "--tcp", "0") as (process, _):
        process.send_signal(number)
        assert process.wait(30) == 0
        assert process.stderr is not None
        assert process.stderr.read() == ""


def test_says_in_words_where_the_board_is(short: str) -> None:
    command = [sys.executable, "-m", "simulator", "serve", short, "--tcp", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
        finally:
            process.kill()
    assert "3 s of simulated time" in line
    assert "socket://127.0.0.1:" in line


@pytest.mark.parametrize("offer", [[], ["--pty", "--tcp", "0"]])
def test_serve_needs_one_place(offer: list[str]) -> None:
    outcome = run("serve", "steady", *offer)
    assert outcome.returncode == 2
    assert "--pty or --tcp PORT" in outcome.stderr


def test_renders_the_bytes_of_the_library(tmp_path: Path) -> None:
    for options in ([], ["--format", "jsonl"]):
        outcome = run("render", "rough-line", str(tmp_path / "out"), "--seed", "5", "--seconds", "9", *options)
        assert (outcome.returncode, outcome.stderr) == (0, "")
        pieces = list(render(load("rough-line"), 5, 9.0))
        written = (tmp_path / "out").read_bytes()
        if options:
            head, *rows = [json.loads(line) for line in written.decode("ascii").splitlines()]
            assert (head["board"]["bits"], head["board"]["serial"]) == (12, "SIM0002")
            assert [row["data"].encode("latin-1") for row in rows] == [data for _, data in pieces]
            assert [row["t_s"] for row in rows] == pytest.approx([time_s for time_s, _ in pieces], abs=1e-6)
        else:
            assert written == b"".join(data for _, data in pieces)
            assert isinstance(Decoder().feed(written)[0], Boot)


def test_does_not_render_without_end(tmp_path: Path) -> None:
    outcome = run("render", "steady", str(tmp_path / "out"))
    assert outcome.returncode == 2
    assert "--seconds" in outcome.stderr


def test_file_that_cannot_be_written(tmp_path: Path) -> None:
    outcome = run("render", "steady", str(tmp_path / "nowhere" / "out"), "--seconds", "1")
    assert outcome.returncode == 74
    assert "cannot be written" in outcome.stderr


def test_lists_what_is_built_in() -> None:
    assert json.loads(run("list", "--json").stdout).keys() == built_in().keys()
    assert all(name in run("list").stdout for name in built_in())


def test_shows_a_scenario_to_start_from() -> None:
    assert run("show", "steady").stdout == built_in()["steady"]
    assert run("show", "nope").returncode == 65


def test_tells_the_truth() -> None:
    rows = json.loads(run("truth", "four-cylinder", "--json").stdout)
    assert [row["cylinder"] for row in rows] == [1, 3, 4, 2]
    assert rows[1]["as_found_loss_pct"] == pytest.approx(28.0, abs=0.1)
    shown = run("truth", "four-cylinder").stdout
    assert "28.00 %" in shown
    assert "exhaust" in shown


def test_tells_what_is_wrong_and_where_the_crank_stands() -> None:
    assert "next_cylinder  head_gasket" in run("truth", "four-head-gasket").stdout
    assert "crank +360 deg" in run("truth", "four-wrong-order").stdout
    rows = json.loads(run("truth", "four-debris", "--json").stdout)
    assert rows[2]["conditions"] == ["debris"]
    assert rows[2]["as_found_mm2_by_path"]["exhaust"] == pytest.approx(0.305)
    assert rows[2]["after_tap_mm2_by_path"]["exhaust"] == pytest.approx(0.0575)


@pytest.mark.parametrize("command", [["serve", "nope", "--tcp", "0"], ["truth", "nope"]])
def test_unknown_scenario(command: list[str]) -> None:
    outcome = run(*command)
    assert outcome.returncode == 65
    assert "no scenario 'nope'" in outcome.stderr
    assert "Traceback" not in outcome.stderr
