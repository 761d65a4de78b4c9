"""The test of an engine: which cylinder, what has been captured of it, what comes next. Pure."""

from __future__ import annotations

from daq.procedure.engine import EngineOrder, EngineProfile
from daq.procedure.plan import TestPlan, plan_from
from daq.procedure.procedure import Procedure

__all__ = ["EngineOrder", "EngineProfile", "Procedure", "TestPlan", "plan_from"]
