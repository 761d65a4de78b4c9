"""The test of an engine: which cylinder, what has been captured of it, what comes next. Pure."""

from __future__ import annotations

from daq.procedure.engine import EngineOrder, EngineProfile
from daq.procedure.states import Procedure

__all__ = ["EngineOrder", "EngineProfile", "Procedure"]
