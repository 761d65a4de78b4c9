"""Which page is made by what, and what a test can be started with."""

from __future__ import annotations

from typing import Any

from daq.config import Config
from daq.engine_files import list_engines
from daq.planning import configured
from daq.procedure.cautions import before_air
from daq.procedure.plan import Temperature
from daq.sinks.page import Books, Document
from daq.sinks.payloads import BenchDescription


def books(config: Config, description: BenchDescription) -> Books:
    def page(path: str) -> Document | None:
        return None

    return Books(page, lambda: choices(config))


def choices(config: Config) -> dict[str, Any]:
    """The engines there are, the configured one first, and what must be read before any air."""
    own = configured(config).profile_record()
    engines = [{"key": "", "name": own.name, "cylinders": len(own.firing_order), "certified": own.certified}]
    engines += [
        {
            "key": each.key,
            "name": each.profile.name,
            "cylinders": len(each.profile.firing_order),
            "certified": each.profile.certified,
        }
        for each in list_engines(config.storage.engines)
        if each.profile is not None
    ]
    return {
        "engines": engines,
        "temperatures": [each.value for each in Temperature],
        "cautions": {
            "any": [each.text for each in before_air(False)],
            "certified": [each.text for each in before_air(True)],
        },
    }
