"""What a check of a board found, requirement by requirement."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

REQUIREMENTS = {
    "R1": "Nothing but frames and empty lines",
    "R2": "Right CRC on each frame",
    "R3": "Grammar and length of each frame",
    "R4": "Sequence counts the samples that were due",
    "R5": "One clock: 32 bits of microseconds, never set",
    "R6": "Clock within 1 % of real time",
    "R7": "Samples evenly spaced at the rate that is set",
    "R8": "Counts below full scale",
    "R9": "Reference as the mode of the converter says",
    "R10": "Flags tell the truth",
    "R11": "Heartbeat each second, running or not",
    "R12": "Heartbeat tells running and errors truly",
    "R13": "Inputs debounced, one frame for each change",
    "R14": "LF and boot line before any other frame",
    "R15": "Boot count one more at each start",
    "R16": "One reply for each command, tagged, in time",
    "R17": "No reply to a blank line",
    "R18": "Either case, long and short form, CR, no tag",
    "R19": "*IDN? has four fields",
    "R20": "SYSTem:PROTocol? answers 1",
    "R21": "*TST? answers a decimal number",
    "R22": "CONFigure:ADC? answers bits and mode",
    "R23": "CONFigure:RATE sets the rate",
    "R24": "A rate beyond the link is refused",
    "R25": "INITiate starts and ABORt stops",
    "R26": "*RST stops and sets the default rate",
    "R27": "*CLS empties the error queue",
    "R28": "A wrong command is refused with its number",
    "R29": "Error queue: eight entries, oldest first, -350",
    "R30": "CALibration:DATA? and STATe? agree",
    "R31": "No calibration is stored while running",
    "R32": "What is stored as calibration is read back",
    "R33": "Garbage on the input costs one line",
    "R34": "Only frame types of the specification",
}
"""Numbers and titles of firmware_spec/protocol.md, section 17."""


NOT_SEEN = "did not come up over the line; see the checklist"
HOW_TO_CHECK = {
    "R13": "nobody pressed the mark button during the check",
    "R14": "the board did not start during the check; reset it when asked",
    "R15": "the board did not start twice during the check; reset it when asked",
    "R31": "no calibration is stored; store one for both channels, then check again",
    "R32": "no calibration is stored; store one for both channels, then check again",
}
"""Why a requirement was not checked, and what lets it be."""


class Verdict(StrEnum):
    CONFORMS = "conforms"
    FAILS = "fails"
    NOT_CHECKED = "not checked"


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found for one requirement; `evidence` is what was seen, or why it was not checked."""

    requirement: str
    title: str
    verdict: Verdict
    evidence: str


@dataclass(frozen=True, slots=True)
class Figure:
    """What was measured, in words; it is neither right nor wrong."""

    what: str
    value: str


@dataclass(frozen=True, slots=True)
class ConformanceReport:
    """One finding for each requirement, in the order of the specification. `identity` is the text of `*IDN?`."""

    identity: str
    findings: tuple[Finding, ...]
    figures: tuple[Figure, ...] = ()

    @property
    def conforms(self) -> bool:
        """Whether nothing that was checked fails."""
        return all(finding.verdict is not Verdict.FAILS for finding in self.findings)

    def __getitem__(self, requirement: str) -> Finding:
        return next(finding for finding in self.findings if finding.requirement == requirement)


class Notes:
    """Gathers single observations and sums them up: one that is wrong outweighs all that are right."""

    def __init__(self) -> None:
        self._notes: dict[str, list[tuple[bool, str]]] = {name: [] for name in REQUIREMENTS}
        self._figures: list[Figure] = []

    def expect(self, requirement: str, kept: bool, evidence: str) -> None:
        self._notes[requirement].append((kept, evidence))

    def measure(self, what: str, value: str) -> None:
        self._figures.append(Figure(what, value))

    def report(self, identity: str) -> ConformanceReport:
        findings = tuple(self._finding(name) for name in REQUIREMENTS)
        return ConformanceReport(identity, findings, tuple(self._figures))

    def _finding(self, requirement: str) -> Finding:
        notes = self._notes[requirement]
        broken = [evidence for kept, evidence in notes if not kept]
        if broken:
            verdict, evidence = Verdict.FAILS, "; ".join(dict.fromkeys(broken[:3]))
        elif notes:
            seen = f" (and {len(notes) - 1} more observations)" if len(notes) > 1 else ""
            verdict, evidence = Verdict.CONFORMS, notes[-1][1] + seen
        else:
            verdict, evidence = Verdict.NOT_CHECKED, HOW_TO_CHECK.get(requirement, NOT_SEEN)
        return Finding(requirement, REQUIREMENTS[requirement], verdict, evidence)
