"""The reference firmware by its own tests: natively, and on a simulated microcontroller whose int has 16 bits."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests.suites import firmware
from tests.suites.firmware import REFERENCE, made

pytestmark = pytest.mark.timeout(400)
"""The first test builds everything, on whatever machine there is."""


def test_it_builds_without_a_warning_and_fits_its_budgets() -> None:
    made("native", "avr", "bench")
    sizes = "".join(path.read_text() for path in firmware.BUILD.glob("*.budget"))
    assert len(re.findall(r"(flash|variables|stack) \d+ of \d+ bytes", sizes)) == 6


@pytest.mark.parametrize("target", ["vectors", "core"])
def test_natively_and_on_a_microcontroller(target: str) -> None:
    said = made(target)
    counts = re.findall(r"^(\d+) checked, 0 wrong\npassed$", said, re.MULTILINE)
    assert len(counts) == 2
    assert counts[0] == counts[1]
    assert int(counts[0]) > 200


def test_any_bytes_at_all_do_no_harm() -> None:
    said = made("fuzz", FUZZ_SECONDS=12)
    executed = re.search(r"number_of_executed_units: (\d+)", said)
    assert executed is not None
    assert int(executed[1]) > 1000


def test_a_broken_firmware_does_not_pass(tmp_path: Path) -> None:
    """The vectors are read, not recited: a core with one wrong constant fails them."""
    copy = tmp_path / "firmware_spec"
    shutil.copytree(REFERENCE.parent, copy, ignore=shutil.ignore_patterns("build"))
    crc = copy / "reference" / "core" / "crc.h"
    crc.write_text(crc.read_text().replace("0xFFFFu", "0x0000u"))
    with pytest.raises(AssertionError, match="failed"):
        made("vectors", folder=copy / "reference")
