"""What names no stored reading is refused in words, before any database is opened."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.cli.budget import stored
from daq.errors import UsageError


@pytest.mark.parametrize("reading", ["", "first", "-1", "1.5", "\u0663", "\u00b2", "9" * 19, "9" * 5000, "1\n"])
def test_what_is_no_number_of_a_reading_is_refused(reading: str, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="is no reading"):
        stored(tmp_path / "none.db", reading)
