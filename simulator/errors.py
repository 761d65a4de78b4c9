"""Errors that a person reads: what happened and whose fault it is, what was seen, what to do next."""

from __future__ import annotations


class SimulatorError(Exception):
    """The root of what the simulator raises on purpose. `exit_code` follows BSD sysexits.h."""

    exit_code = 70

    def __init__(self, what: str, todo: str = "", evidence: str = "") -> None:
        super().__init__(what)
        self.what, self.todo, self.evidence = what, todo, evidence

    def __str__(self) -> str:
        seen = [f"Seen: {self.evidence}"] if self.evidence else []
        todo = [f"Next: {self.todo}"] if self.todo else []
        return "\n".join([self.what, *seen, *todo])


class ScenarioError(SimulatorError):
    """A scenario cannot be found, read, or makes no sense."""

    exit_code = 65


class PortError(SimulatorError):
    """The simulated board cannot be offered where it was asked to be."""

    exit_code = 69


class FileError(SimulatorError):
    """The disk refused to take what was rendered."""

    exit_code = 74
