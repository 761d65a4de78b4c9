"""Any conversation with the firmware on a simulated microcontroller goes as with the simulated board in Python: two
implementations that share nothing but the specification."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from daq.wire import DEFAULT_RATE_HZ, Boot, Decoder, Frame, Heartbeat, Reply, ResetCause
from simulator.commands import Calibration, Commands, Identity
from tests.suites.firmware import BUILD, Microcontroller, made

IDENTITY = Identity("Boretight", "Reference AVR", "0", "1.0")
COMMAND_US = 230_000
"""Enough for a reply that waits for the EEPROM."""

HEADERS = (
    "*IDN?", "*RST", "*CLS", "*TST?", "SYST:ERR?", "SYSTem:PROTocol?", "CONF:RATE", "configure:rate?", "CONF:ADC?",
    "INIT", "ABORt", "CAL:DATA", "CAL:DATA?", "CAL:STAT?",
)  # fmt: skip
RATES = st.sampled_from((0, 1, 50, 200, 236, 237, 10_000, 10_001, 2**31, 2**32 + 200)).map("CONF:RATE {}".format)
NUMBERS = st.one_of(st.integers(-(2**33), 2**33), st.sampled_from((500_000, 258_553, 20_250_110, 20_991_231)))
CHANNELS = st.sampled_from(("SUPP", "cyl", "SUPPLY", "Cylinder", "SUPPL", "TANK", ""))
SOUND_LINES = st.builds(
    "CAL:DATA {},{},{},{}".format,
    st.sampled_from(("SUPP", "CYLinder")),
    st.integers(-10_000_000, 10_000_000),
    st.integers(1, 2_000_000_000),
    st.sampled_from((20_000_101, 20_251_231)),
)
LINES = st.builds("CAL:DATA {},{},{},{}".format, CHANNELS, NUMBERS, NUMBERS, NUMBERS)
ARGUMENTS = st.text(" ,+-0123456789aASUP", max_size=12)
ODD = st.builds("{} {}".format, st.sampled_from(HEADERS), ARGUMENTS)
TAGS = st.sampled_from(("", "@0001 ", "@00ff\t", "@GGGG ", "@12 ", "  ", "@BEEF"))
TEXTS = st.builds(
    "{}{}".format,
    TAGS,
    st.one_of(st.sampled_from(HEADERS), RATES, SOUND_LINES, LINES, ODD, st.text("*:?@ ABC", max_size=99)),
)
NOISE = st.binary(max_size=130)


@cache
def image() -> Path:
    made("avr", "bench")
    return BUILD / "own.hex"


class Stream:
    """What the model's commands set."""

    def __init__(self) -> None:
        self.running, self.rate_hz = False, DEFAULT_RATE_HZ

    def set_rate(self, rate_hz: int) -> None:
        self.rate_hz = rate_hz

    def start(self) -> None:
        self.running = True

    def stop(self) -> None:
        self.running = False

    def self_test(self) -> int:
        return 0


class Conversation(RuleBasedStateMachine):
    """The firmware, the model, and what both say."""

    def __init__(self) -> None:
        super().__init__()
        self.board = Microcontroller(image())
        for number in (0, 1):
            self.board.order("volts", number, 3.0)
        self.decoder = Decoder()
        self.calibration: Calibration = {}
        self.starts = 0
        self.begin(ResetCause.POWER_ON)

    def begin(self, cause: ResetCause) -> None:
        """What both are like after a start."""
        self.stream = Stream()
        self.model = Commands(IDENTITY, self.stream, self.calibration)
        self.starts += 1
        boots = [frame for frame in self.heard(50_000) if isinstance(frame, Boot)]
        assert boots == [Boot(cause, self.starts, self.model.calibrated)]

    def heard(self, microseconds: int) -> list[Frame]:
        return self.decoder.feed(self.board.run(microseconds))

    def say(self, line: bytes) -> None:
        self.board.send(line + b"\n")
        replies = [frame for frame in self.heard(COMMAND_US) if isinstance(frame, Reply)]
        wanted = [frame for frame in Decoder().feed(self.model.feed(line + b"\n")) if isinstance(frame, Reply)]
        assert replies == wanted, line

    @rule(text=TEXTS)
    def command(self, text: str) -> None:
        self.say(text.encode("ascii"))

    @rule(text=TEXTS)
    def command_with_carriage_return(self, text: str) -> None:
        self.say(text.encode("ascii") + b"\r")

    @rule(noise=NOISE)
    def noise(self, noise: bytes) -> None:
        self.say(noise.replace(b"\n", b""))

    @rule(cause=st.sampled_from((ResetCause.POWER_ON, ResetCause.EXTERNAL, ResetCause.BROWN_OUT)))
    def restart(self, cause: ResetCause) -> None:
        """In the middle of whatever it sends; what is stored stays."""
        self.board.order("reset", int(cause))
        self.begin(cause)

    @rule()
    def wait_for_a_heartbeat(self) -> None:
        beat = next(frame for frame in reversed(self.heard(1_100_000)) if isinstance(frame, Heartbeat))
        assert (beat.running, beat.errors, beat.dropped) == (self.stream.running, len(self.model.errors), 0)

    @invariant()
    def nothing_is_left_over(self) -> None:
        assert self.model.pending == 0

    def teardown(self) -> None:
        self.board.__exit__(None, None, None)


TestConversation = Conversation.TestCase
TestConversation.settings = settings(
    max_examples=20,
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    # A failure is told as it was found: making it smaller would run the microcontroller for minutes.
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
)
