from __future__ import annotations

from pathlib import Path

import pytest

from daq.config import Config, MqttSection, StorageSection


@pytest.fixture
def config(tmp_path: Path) -> Config:
    """A bench that keeps its things in a folder of the test and publishes nowhere."""
    return Config(bench="garage", storage=StorageSection(folder=tmp_path), mqtt=MqttSection(enabled=False))
