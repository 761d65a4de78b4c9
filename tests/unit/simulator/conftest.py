"""Scenarios that the tests of the simulator share."""

from __future__ import annotations

import os
from collections.abc import Callable

import pytest

from simulator.scenario import Scenario, parse

collect_ignore = [] if os.name == "posix" else ["test_pty_port.py"]

QUIET = """
title = "quiet"
engine = { name = "invented", order = [1], clearance_cc = 55.0 }
cylinder = [{ number = 1, leaks_mm2 = { exhaust = 0.25, crankcase = 0.16 } }]
compressor = { ripple_psi = 0 }
regulator = { droop_psi_per_g_s = 0, hump_psi = 0, tank_effect = 0, recovery_s = 0, noise_psi = 0 }
transducer = { supply = { noise_psi = 0, response_ms = 0 }, cylinder = { noise_psi = 0, response_ms = 0 } }
"""
"""Everything ideal, nothing happens: tests add tables to it."""


@pytest.fixture
def quiet() -> Callable[[str], Scenario]:
    """A scenario without noise, with these tables added."""
    return lambda tables="": parse(QUIET + tables, "test")
