"""What a check asks a person at the board for: to restart it, and to press its button."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from daq.sources.conformance_dialogue import Dialogue, Heard
from daq.wire import Boot, InputEvent

Ask = Callable[[str], None]
"""Says to a person what to do now."""

RESTARTS, PRESSES = 2, 3
PATIENCE_S = 20.0
LOOK_S = 0.2
SETTLED_S = 1.5
"""After a restart, until a board has surely got over it."""
RESET_WORDS = (
    f"Reset the board twice, some seconds apart, with its reset button. (Within {PATIENCE_S:.0f} s; leave it alone and "
    "that is not checked.)"
)
PRESS_WORDS = f"Press the mark button {PRESSES} times, slowly. (Within {PATIENCE_S:.0f} s; the same holds.)"


class Hand:
    """The hand at the board; without `ask` there is none, and nothing is waited for."""

    def __init__(self, talk: Dialogue, ask: Ask | None) -> None:
        self._talk, self._ask = talk, ask

    def restart(self) -> None:
        """The board was started anew; it is stopped, at its default rate."""
        if self._wait(RESET_WORDS, _boots, RESTARTS):
            self._talk.listen(SETTLED_S)

    def press(self) -> None:
        """The button was pressed and released."""
        self._wait(PRESS_WORDS, _releases, PRESSES)

    def _wait(self, words: str, count: Callable[[Sequence[Heard]], int], enough: int) -> int:
        """How many of these things happened, as soon as it is enough or patience ends."""
        if self._ask is None:
            return 0
        mark = len(self._talk.heard)
        self._ask(words)
        for _ in range(round(PATIENCE_S / LOOK_S)):
            self._talk.listen(LOOK_S)
            if count(self._talk.heard[mark:]) >= enough:
                break
        return count(self._talk.heard[mark:])


def _boots(heard: Sequence[Heard]) -> int:
    return sum(isinstance(item.frame, Boot) for item in heard)


def _releases(heard: Sequence[Heard]) -> int:
    return sum(isinstance(item.frame, InputEvent) and not item.frame.pressed for item in heard)
