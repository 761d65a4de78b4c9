"""The engines that there are profiles of, and what a test can be started with."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from daq.config import Config
from daq.engine_files import Listed, list_engines
from daq.planning import configured
from daq.procedure.cautions import before_air
from daq.procedure.engine import EngineProfile
from daq.procedure.plan import Temperature
from daq.report.page.markup import Link, Row, paragraph, table
from daq.sinks.page.documents import Document
from daq.sinks.store import readable

_TESTED = "SELECT DISTINCT engine FROM cylinder_result WHERE withdrawn_utc IS NULL"


def engines_page(folder: Path, database: Path) -> Document:
    with readable(database) as reader:
        tested = {row["engine"] for row in reader.query(_TESTED)}
    rows = [_row(each, tested) for each in list_engines(folder)]
    columns = ("Key", "Engine", "Firing order", "Bore and stroke", "Profile", "History")
    below = paragraph("Profiles are made and changed with `boretight engine`.")
    return Document("Engines", table("Engine profiles", columns, rows) + below)


def _row(listed: Listed, tested: set[str]) -> Row:
    own, profile = "your own" if listed.own else "came with boretight", listed.profile
    if profile is None:
        return listed.key, listed.complaint, "", "", own, ""
    order = "-".join(map(str, profile.firing_order))
    history = Link("its tests", ("history", profile.name)) if profile.name in tested else "no test yet"
    return listed.key, profile.name, order, _size(profile), own, history


def _size(profile: EngineProfile) -> str:
    lengths = (profile.bore_m, profile.stroke_m)
    return " x ".join("?" if length is None else f"{length * 1e3:.1f} mm" for length in lengths) if any(lengths) else ""


def choices(config: Config) -> dict[str, Any]:
    """For who starts a test: the configured engine first, then all others, and what must be read before any air."""
    own = configured(config).profile_record()
    found = [(each.key, each.profile) for each in list_engines(config.storage.engines) if each.profile is not None]
    return {
        "engines": [_choice(key, profile) for key, profile in [("", own), *found]],
        "temperatures": [each.value for each in Temperature],
        "cautions": {
            "any": [each.text for each in before_air(False)],
            "certified": [each.text for each in before_air(True)],
        },
    }


def _choice(key: str, profile: EngineProfile) -> dict[str, Any]:
    cylinders = len(profile.firing_order)
    return {"key": key, "name": profile.name, "cylinders": cylinders, "certified": profile.certified}
