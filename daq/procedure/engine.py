"""The engine as far as the order of its cylinders goes."""

from __future__ import annotations

from dataclasses import dataclass

from daq.errors import UsageError

MOST_CYLINDERS = 16


@dataclass(frozen=True, slots=True)
class EngineOrder:
    """`firing_order` names each cylinder once; the test follows it, so that the crank is turned least.

    Raises UsageError if the order is no permutation of 1..n.
    """

    name: str
    firing_order: tuple[int, ...]

    def __post_init__(self) -> None:
        n = len(self.firing_order)
        if not 1 <= n <= MOST_CYLINDERS:
            raise UsageError(f"An engine has 1 to {MOST_CYLINDERS} cylinders.", evidence=f"{n} in the firing order")
        if sorted(self.firing_order) != list(range(1, n + 1)):
            raise UsageError(
                "A firing order must name each cylinder exactly once, numbered from 1.",
                todo="Write it as it stands in the engine's manual, for example 1-3-4-2.",
                evidence="-".join(map(str, self.firing_order)),
            )

    def after(self, cylinder: int) -> int | None:
        """The cylinder that follows, or None after the last of the order."""
        place = self.firing_order.index(cylinder) + 1
        return self.firing_order[place] if place < len(self.firing_order) else None

    def before(self, cylinder: int) -> int | None:
        """The cylinder that came before, or None at the first."""
        place = self.firing_order.index(cylinder)
        return self.firing_order[place - 1] if place else None
