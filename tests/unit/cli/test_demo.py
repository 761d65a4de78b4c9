"""The demonstration is the same for everyone."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.cli.demo import demo_config
from daq.config import Config


def test_the_environment_of_the_user_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = demo_config(tmp_path)
    strange = {
        "BORETIGHT_MQTT__HOST": "broker.invalid",
        "BORETIGHT_INSTRUMENT__RESTRICTOR_IN": "0.06",
        "BORETIGHT_ENGINE__NAME": "of the user",
        "BORETIGHT_DISPLAY__PRESSURE": "bar",
        "BORETIGHT_BENCH": "NOT A NAME",
    }
    for name, value in strange.items():
        monkeypatch.setenv(name, value)
    assert demo_config(tmp_path) == before
    assert (before.mqtt.host, before.instrument.restrictor_in, before.bench) == (None, 0.040, "demo")


def test_it_would_pass_every_check(tmp_path: Path) -> None:
    demo = demo_config(tmp_path)
    assert Config(**demo.model_dump()).model_dump() == demo.model_dump()
