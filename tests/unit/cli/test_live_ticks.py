"""A line that is not there is told as such, whenever somebody begins to look at what comes from it."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.cli.live_ticks import LiveTicks
from daq.cli.workshop import open_workshop
from daq.errors import UnavailableError
from daq.sources.ports import LineSettings


@pytest.mark.parametrize("forgotten", [0, 1, 2])
def test_a_line_that_failed_before_anybody_looked_says_why(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, forgotten: int
) -> None:
    monkeypatch.chdir(tmp_path)
    live = LiveTicks(LineSettings("socket://127.0.0.1:1"), open_workshop(None).config)
    with live:
        live._thread.join()
        for _ in range(forgotten):
            live.forget()
        with pytest.raises(UnavailableError):
            next(iter(live))
