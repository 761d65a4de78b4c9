"""Errors that a person reads. Each says whose fault it is and what to do next, and carries the evidence."""

from __future__ import annotations

from typing import ClassVar


class BoretightError(Exception):
    """The root of all errors that the project raises on purpose.

    `what` says what happened and whose fault it is, `todo` the next thing to do, `evidence` what was seen.
    `exit_code` follows BSD sysexits.h, so that a service manager can tell a bad configuration from a bad day.
    """

    exit_code: ClassVar[int] = 70

    def __init__(self, what: str, todo: str = "", evidence: str = "") -> None:
        super().__init__(what)
        self.what, self.todo, self.evidence = what, todo, evidence

    def __str__(self) -> str:
        parts = [self.what]
        if self.evidence:
            parts.append(f"Seen: {self.evidence}")
        if self.todo:
            parts.append(f"Next: {self.todo}")
        return "\n".join(parts)


class UsageError(BoretightError):
    """The command line asked for something that makes no sense."""

    exit_code = 64


class DataError(BoretightError):
    """A file or a stream is not what it should be."""

    exit_code = 65


class UnavailableError(BoretightError):
    """A port, a board or a broker that is needed is not there."""

    exit_code = 69


class StorageError(BoretightError):
    """The disk or the database refused to take or give data."""

    exit_code = 74


class ProtocolError(BoretightError):
    """The board answered, but not as the specification says."""

    exit_code = 76


class ConfigError(BoretightError):
    """The configuration is wrong; restarting will not help."""

    exit_code = 78
