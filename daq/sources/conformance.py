"""Checks a board on an open port against firmware_spec/protocol.md, requirement by requirement.

The check leaves the board as it found it but for an empty error queue: rate and running are put back, and a
calibration is only ever written with the values that were read before.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from daq.sources import conformance_figures as figures
from daq.sources import conformance_rules as rules
from daq.sources.conformance_dialogue import Dialogue, Exchange, Port
from daq.sources.conformance_hand import Ask, Hand
from daq.sources.conformance_report import ConformanceReport, Finding, Notes, Verdict
from daq.sources.conformance_wrong import NO_STORE, WRONG_CALIBRATIONS, WRONG_COMMANDS
from daq.wire import DEFAULT_RATE_HZ, ERROR_QUEUE_LENGTH, ERROR_TEXTS, PROTOCOL_VERSION, Reply, max_rate_hz

__all__ = ["ConformanceReport", "Finding", "Verdict", "check_board"]

RATES_HZ = (50, DEFAULT_RATE_HZ, 100)
"""Rates that each board's line carries. They and the fastest one share the running part of the check."""
BEYOND_ALL_HZ = 10_000
NO_ERROR = r'0,"No error"'


def check_board(
    port: Port,
    seconds: float = 60.0,
    baud: int | None = None,
    clock: Callable[[], float] = time.monotonic,
    ask: Ask | None = None,
) -> ConformanceReport:
    """Talk to the board for about `seconds` plus fifteen and judge it.

    `port` is open and used by nobody else; `seconds` is how long samples are watched; `baud` is the bit rate where a
    real line stands behind the port. `ask` tells a person at the board what to do; without it nobody is there. Raises
    UnavailableError when the port fails.
    """
    with Dialogue(port, clock) as talk:
        notes = Notes()
        check = _Check(talk, notes, seconds, baud, Hand(talk, ask))
        check.run()
        rules.judge_stream(talk.heard, talk.raw, (talk.began_s, clock()), notes.expect)
        notes.measure("replies", figures.replies(talk.exchanges))
        notes.measure("clock", figures.clock(talk.heard))
        return notes.report(check.identity)


class _Check:
    """The steps of the check, and what they found."""

    def __init__(self, talk: Dialogue, notes: Notes, seconds: float, baud: int | None, hand: Hand) -> None:
        self._talk, self._seconds, self._baud, self._hand = talk, seconds, baud, hand
        self._expect, self._measure = notes.expect, notes.measure
        self._converter = rules.Converter(bits=16, absolute=False)
        self._calibrated = False
        self._fastest_hz = DEFAULT_RATE_HZ
        self.identity = ""

    def run(self) -> None:
        mark = len(self._talk.heard)
        self._talk.listen(1.2)
        was_running = bool(rules.samples(self._talk.heard[mark:]))
        if not self._introduce():
            return
        self._ask("R25", "ABOR", 0, "")
        found_rate = self._talk.ask("CONF:RATE?").text
        self._hand.restart()
        self._describe()
        self._forms()
        self._garbage()
        self._errors()
        self._calibration()
        self._rates()
        self._stopped()
        self._running()
        self._reset()
        if found_rate.isdecimal():
            self._talk.ask(f"CONF:RATE {found_rate}")
        if was_running:
            self._talk.ask("INIT")
        self._replies()

    def _ask(
        self, requirement: str, text: str, status: int, pattern: str, *, tagged: bool = True, ending: bytes = b"\n"
    ) -> Exchange:
        """Send a command and note whether status and text of the reply are as they should be."""
        exchange = self._talk.ask(text, tagged, ending)
        self._expect(requirement, exchange.answers(status, pattern), str(exchange))
        return exchange

    def _introduce(self) -> bool:
        self._talk.send(b"\n")
        for _ in range(3):
            exchange = self._talk.ask("*IDN?")
            if exchange.reply is not None:
                self.identity = exchange.text
                self._expect("R19", exchange.answers(0, r"[^,]+(,[^,]+){3}"), str(exchange))
                return True
        self._expect("R16", False, "no reply to *IDN? in three tries")
        return False

    def _describe(self) -> None:
        self._ask("R20", "SYST:PROT?", 0, str(PROTOCOL_VERSION))
        self._ask("R21", "*TST?", 0, "[0-9]+")
        exchange = self._ask("R22", "CONF:ADC?", 0, "([89]|1[0-6]),(RATIO|ABS)")
        if exchange.answers(0, "[0-9]{1,2},(RATIO|ABS)"):
            bits, _, mode = exchange.text.partition(",")
            self._converter = rules.Converter(int(bits), mode == "ABS")
            self._measure("converter", f"{bits} bits, {mode}")

    def _forms(self) -> None:
        version = str(PROTOCOL_VERSION)
        for text in ("SYSTEM:PROTOCOL?", "syst:prot?", "System:Prot?"):
            self._ask("R18", text, 0, version)
        self._ask("R18", "SYST:PROT?", 0, version, ending=b"\r\n")
        self._ask("R18", "SYST:PROT?", 0, version, tagged=False)
        for blank in (b"\n", b"\r\n", b"  \n"):
            replies = self._talk.replies_to(blank, 0.3)
            self._expect("R17", not replies, f"{blank!r} -> {_shown(replies)}")

    def _garbage(self) -> None:
        self._talk.ask("*CLS")
        for garbage in (b"\xff\x80\x00\x1b*?@\n", b"x" * 300 + b"\n"):
            replies = self._talk.replies_to(garbage, 0.3)
            kept = len(replies) == 1 and (replies[0].tag, replies[0].status) == (0, -113)
            self._expect("R33", kept, f"{garbage[:12]!r}, {len(garbage)} bytes -> {_shown(replies)}")
        self._ask("R33", "SYST:PROT?", 0, str(PROTOCOL_VERSION))

    def _errors(self) -> None:
        self._ask("R27", "*CLS", 0, "")
        self._ask("R27", "SYST:ERR?", 0, NO_ERROR)
        self._ask("R23", "CONF:RATE 60", 0, "")
        for text, number in WRONG_COMMANDS.items():
            self._ask("R28", text, number, ERROR_TEXTS[number])
        self._ask("R28", "CONF:RATE?", 0, "60")
        self._heartbeat_says(running=False, errors=ERROR_QUEUE_LENGTH)
        kept = [*list(WRONG_COMMANDS.values())[: ERROR_QUEUE_LENGTH - 1], -350]
        for number in kept:
            self._ask("R29", "SYST:ERR?", 0, f'{number},"{ERROR_TEXTS[number]}"')
        self._ask("R29", "SYST:ERR?", 0, NO_ERROR)
        self._talk.ask("FOO")
        self._talk.ask("*CLS")
        self._ask("R27", "SYST:ERR?", 0, NO_ERROR)

    def _calibration(self) -> None:
        stored = []
        for channel in ("SUPP", "CYL"):
            exchange = self._ask("R30", f"CAL:DATA? {channel}", 0, "-?[0-9]+,[0-9]+,[0-9]{8}")
            stored.append(exchange.answers(0, "-?[0-9]+,[1-9][0-9]*,[0-9]{8}"))
        self._calibrated = all(stored)
        self._ask("R30", "CAL:STAT?", 0, "1" if self._calibrated else "0")
        values = self._talk.ask("CAL:DATA? SUPP").text
        self._wrong_calibrations(values)
        if stored[0]:
            self._ask("R32", f"CAL:DATA SUPP,{values}", 0, "")
            self._ask("R32", "CAL:DATA? SUPP", 0, values)

    def _wrong_calibrations(self, values: str) -> None:
        """They are refused, and `values` stay what is stored."""
        for text, number in WRONG_CALIBRATIONS.items():
            exchange = self._talk.ask(text)
            allowed = (number,) if self._calibrated else (number, NO_STORE)
            refused = exchange.reply is not None and exchange.reply.status in allowed
            self._expect("R28", refused, f"{exchange}, expected {number}")
        self._ask("R28", "CAL:DATA? SUPP", 0, values)

    def _rates(self) -> None:
        self._ask("R23", "CONF:RATE 50", 0, "")
        beyond = [BEYOND_ALL_HZ] if self._baud is None else [BEYOND_ALL_HZ, int(max_rate_hz(self._baud)) + 1]
        for rate in beyond:
            self._expect("R24", not self._accepts(rate), f"{rate} Hz is beyond this line")
            self._ask("R24", "CONF:RATE?", 0, "50")
        self._fastest_hz = self._fastest(min(beyond))
        self._measure("fastest rate accepted", f"{self._fastest_hz} Hz")
        self._expect("R24", True, f"takes up to {self._fastest_hz} Hz, and refuses what its line does not carry")

    def _accepts(self, rate_hz: int) -> bool:
        exchange = self._talk.ask(f"CONF:RATE {rate_hz}")
        status = None if exchange.reply is None else exchange.reply.status
        self._expect("R24", status in (0, -221, -222), str(exchange))
        return status == 0

    def _fastest(self, refused_hz: int) -> int:
        """The highest rate below this one that the board takes, if it takes all below that."""
        taken_hz = DEFAULT_RATE_HZ
        while refused_hz - taken_hz > 1:
            middle_hz = (refused_hz + taken_hz) // 2
            if self._accepts(middle_hz):
                taken_hz = middle_hz
            else:
                refused_hz = middle_hz
        return taken_hz

    def _stopped(self) -> None:
        self._talk.ask("*CLS")
        self._quiet("R25", 2.5)
        self._heartbeat_says(running=False, errors=0)

    def _running(self) -> None:
        mark = len(self._talk.heard)
        rates_hz = [*RATES_HZ, self._fastest_hz] if self._fastest_hz not in RATES_HZ else RATES_HZ
        for rate in rates_hz:
            self._run_at(rate, max(self._seconds / len(rates_hz), 1.5), start=rate == RATES_HZ[0])
        self._hand.press()
        rules.judge_marks(self._talk.heard[mark:], self._expect)
        rules.judge_samples(self._talk.heard[mark:], self._converter, self._calibrated, self._expect)
        self._heartbeat_says(running=True, errors=0)
        self._calibration_while_running()
        self._ask("R25", "ABOR", 0, "")
        self._quiet("R25", 0.5)
        self._ask("R25", "ABOR", 0, "")

    def _run_at(self, rate: int, seconds: float, start: bool) -> None:
        self._ask("R23", f"CONF:RATE {rate}", 0, "")
        self._ask("R23", "CONF:RATE?", 0, str(rate))
        if start:
            self._start()
        began = len(self._talk.heard)
        self._talk.listen(seconds)
        rules.judge_run(self._talk.heard[began:], rate, self._expect)
        self._measure(f"samples at {rate} Hz", figures.spacing(self._talk.heard[began:]))

    def _start(self) -> None:
        mark = len(self._talk.heard)
        exchange = self._ask("R25", "INIT", 0, "")
        early = rules.samples(self._talk.heard[mark : exchange.heard_at])
        self._expect("R25", early == 0, f"{early} samples before the reply to INITiate")
        self._ask("R25", "INIT", 0, "")
        self._talk.listen(0.5)
        count = rules.samples(self._talk.heard[mark:])
        self._expect("R25", count > 0, f"{count} samples in half a second after INITiate")

    def _calibration_while_running(self) -> None:
        """Only with the values that are stored: a board that breaks the rule then loses nothing."""
        if not self._calibrated:
            return
        values = self._talk.ask("CAL:DATA? SUPP").text
        self._ask("R31", f"CAL:DATA SUPP,{values}", -221, ERROR_TEXTS[-221])
        self._ask("R31", "CAL:DATA? SUPP", 0, values)

    def _reset(self) -> None:
        self._talk.ask("INIT")
        self._talk.listen(0.3)
        self._ask("R26", "*RST", 0, "")
        self._quiet("R26", 0.5)
        self._ask("R26", "CONF:RATE?", 0, str(DEFAULT_RATE_HZ))

    def _quiet(self, requirement: str, seconds: float) -> None:
        """No samples after the reply to the last command."""
        last = self._talk.exchanges[-1]
        self._talk.listen(seconds)
        count = rules.samples(self._talk.heard[last.heard_at :])
        self._expect(requirement, count == 0, f"{count} samples after the reply to {last.text_sent}")

    def _heartbeat_says(self, running: bool, errors: int) -> None:
        mark = len(self._talk.heard)
        self._talk.listen(1.2)
        beat = rules.last_heartbeat(self._talk.heard[mark:])
        if beat is not None:
            self._expect(
                "R12", (beat.running, beat.errors) == (running, errors), f"{beat}, expected {running}, {errors}"
            )

    def _replies(self) -> None:
        tags = {0, *(exchange.tag for exchange in self._talk.exchanges)}
        strays = [
            item.frame for item in self._talk.heard if isinstance(item.frame, Reply) and item.frame.tag not in tags
        ]
        self._expect("R16", not strays, f"replies that nobody asked for: {_shown(strays)}")
        for exchange in self._talk.exchanges:
            number = exchange.replies(self._talk.heard)
            self._expect("R16", number == 1, f"{number} replies to {exchange.text_sent!r}")
            self._expect("R16", exchange.in_time, str(exchange))
        self._expect("R16", True, f"{len(self._talk.exchanges)} commands, one reply each")


def _shown(replies: list[Reply]) -> str:
    return ", ".join(map(str, replies)) or "no reply"
