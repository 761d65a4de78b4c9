"""The configuration: what is read, in which order, and what a mistake is answered with."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from daq.config import from_snapshot, load
from daq.engine_files import add, put_away
from daq.errors import ConfigError
from daq.procedure.engine import EngineOrder
from daq.units import PA_PER_BAR, PA_PER_KPA, PA_PER_PSI


@pytest.fixture(autouse=True)
def empty_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "bench.toml"
    path.write_text(text)
    return path


def test_without_a_file_the_defaults_hold() -> None:
    config = load()
    assert (config.bench, config.line.rate_hz, config.mqtt.embedded) == ("bench", 200, True)
    assert config.measuring_instrument().set_point_pa == pytest.approx(100 * PA_PER_PSI)


def test_the_file_of_the_user_is_found_where_xdg_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "cfg"))
    (tmp_path / "cfg/boretight").mkdir(parents=True)
    (tmp_path / "cfg/boretight/boretight.toml").write_text('bench = "garage"\n')
    assert load().bench == "garage"


def test_command_line_beats_environment_beats_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, '[line]\nrate_hz = 100\nport = "/dev/a"\n[mqtt]\nport = 1001\n')
    monkeypatch.setenv("BORETIGHT_LINE__RATE_HZ", "50")
    monkeypatch.setenv("BORETIGHT_MQTT__PORT", "1002")
    config = load(path, mqtt={"port": 1003})
    assert (config.line.port, config.line.rate_hz, config.mqtt.port) == ("/dev/a", 50, 1003)


def test_the_environment_may_speak_in_lower_case(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("boretight_bench", "garage")
    assert load().bench == "garage"


def test_the_environment_may_speak_of_a_whole_section(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BORETIGHT_LINE", '{"rate_hz": 50, "baud": 9600}')
    monkeypatch.setenv("BORETIGHT_LINE__BAUD", "19200")
    config = load()
    assert (config.line.rate_hz, config.line.baud) == (50, 19_200)


def test_kilopascals_at_the_edge_are_pascals_inside(tmp_path: Path) -> None:
    text = '[display]\npressure = "kPa"\n[instrument]\nset_point = 700\n[calibration.supply]\nfull_scale = 1000\n'
    config = load(write(tmp_path, text))
    assert config.measuring_instrument().set_point_pa == 700 * PA_PER_KPA
    assert config.calibration_record().supply.pa_per_v == pytest.approx(1000 * PA_PER_KPA / 4.0)


def test_the_limit_of_the_hose_is_in_the_unit_of_display_and_none_unless_given(tmp_path: Path) -> None:
    text = '[display]\npressure = "bar"\n[instrument]\nhose_limit = 12\n'
    assert load(write(tmp_path, text)).measuring_instrument().hose_limit_pa == pytest.approx(12 * PA_PER_BAR)
    assert load().measuring_instrument().hose_limit_pa == math.inf


@pytest.mark.parametrize("unit", ["psi", "kPa", "bar"])
def test_the_unit_of_display_changes_no_default(tmp_path: Path, unit: str) -> None:
    config = load(write(tmp_path, f'[display]\npressure = "{unit}"\n[calibration.cylinder]\nzero_v = 0.4\n'))
    instrument, record = config.measuring_instrument(), config.calibration_record()
    assert instrument.set_point_pa == pytest.approx(100 * PA_PER_PSI)
    assert instrument.supply_band_pa == pytest.approx(2 * PA_PER_PSI)
    assert record.supply.full_scale_pa == record.cylinder.full_scale_pa == pytest.approx(150 * PA_PER_PSI)


def test_the_numbers_in_force_are_shown_in_the_unit_of_display(tmp_path: Path) -> None:
    values = load(write(tmp_path, '[display]\npressure = "bar"\n[instrument]\nsupply_band = 0.2\n')).model_dump()
    assert values["instrument"]["set_point"] == pytest.approx(6.894757, abs=1e-6)
    assert values["instrument"]["supply_band"] == 0.2
    assert values["calibration"]["supply"]["full_scale"] == pytest.approx(10.342136, abs=1e-6)


@pytest.mark.parametrize("unit", ["psi", "kPa", "bar"])
def test_a_snapshot_gives_the_same_instrument_and_calibration(tmp_path: Path, unit: str) -> None:
    text = f'[display]\npressure = "{unit}"\n[instrument]\nsupply_band = 3\n[calibration.supply]\nfull_scale = 12\n'
    config = load(write(tmp_path, text))
    again = from_snapshot(json.loads(json.dumps(config.model_dump(mode="json"))), tmp_path)
    assert again.measuring_instrument() == config.measuring_instrument()
    assert again.calibration_record() == config.calibration_record()
    assert again.model_dump() == config.model_dump()


def test_a_broker_named_is_ones_own(tmp_path: Path) -> None:
    assert not load(write(tmp_path, '[mqtt]\nhost = "127.0.0.1"\n')).mqtt.embedded


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ("[line]\nrate = 100\n", "line.rate", "allowed are bare_bits, baud, format, port, rate_hz, usb"),
        ("[lines]\n", "lines", "allowed are bench, calibration, cues, display, engine, instrument, line, mqtt, page,"),
        ("[line]\nrate_hz = 0\n", "line.rate_hz", "greater than or equal to 1"),
        ('[line]\nrate_hz = "fast"\n', "line.rate_hz", "'fast'"),
        ('bench = "My Garage"\n', "bench", "'My Garage'"),
        ('[display]\npressure = "inHg"\n', "display.pressure", "'psi', 'kPa' or 'bar'"),
        ('[engine]\nfiring_order = "1-3-3-2"\n', "engine.firing_order", "cylinders exactly once"),
        ("[calibration.supply]\nzero_v = 4.5\n", "calibration.supply", "without span"),
        ('[line]\nport = "/dev/a"\nusb = {vendor = "1a2b", product = "0001"}\n', "line", "not both"),
        ('[line]\nusb = {vendor = "xyz", product = "0001"}\n', "line.usb.vendor", "'xyz'"),
    ],
)
def test_a_mistake_names_file_key_fault_and_what_is_allowed(tmp_path: Path, text: str, key: str, words: str) -> None:
    path = write(tmp_path, text)
    with pytest.raises(ConfigError) as caught:
        load(path)
    message = str(caught.value)
    assert str(path) in message and f"{key}:" in message and words in message
    assert caught.value.exit_code == 78


def test_a_mistake_in_the_environment_names_the_variable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BORETIGHT_LINE__RATE_HZ", "0")
    with pytest.raises(ConfigError, match="environment variable BORETIGHT_LINE__RATE_HZ"):
        load()


def test_a_key_that_there_is_not_is_told_in_the_environment_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BORETIGHT_MQTT__PROT", "1883")
    with pytest.raises(ConfigError, match=r"environment variable BORETIGHT_MQTT__PROT: mqtt.prot: there is no such"):
        load()


def test_a_section_in_the_environment_that_is_no_json_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BORETIGHT_LINE", "{rate_hz = 100}")
    with pytest.raises(ConfigError, match="no JSON") as told:
        load()
    assert '"line"' in str(told.value.evidence)


def test_what_a_log_was_made_with_is_not_changed_by_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BORETIGHT_DISPLAY__PRESSURE", "bar")
    assert from_snapshot({}, Path("a.btlog")).display.pressure == "psi"


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    path = write(tmp_path, "[line]\nrate_hz = 0\nbaud = 1\n")
    with pytest.raises(ConfigError) as caught:
        load(path)
    assert "line.rate_hz" in str(caught.value) and "line.baud" in str(caught.value)


def test_no_toml_and_no_file_say_so(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="not a TOML file"):
        load(write(tmp_path, "bench = garage\n"))
    with pytest.raises(ConfigError, match="no configuration file"):
        load(tmp_path / "absent.toml")


def test_a_password_is_not_shown(tmp_path: Path) -> None:
    config = load(write(tmp_path, '[mqtt]\nhost = "127.0.0.1"\npassword = "hunter2"\n'))
    assert "hunter2" not in config.model_dump_json()


class TestEngineProfile:
    def test_a_profile_brings_what_is_not_given_here(self, tmp_path: Path) -> None:
        config = load(write(tmp_path, '[engine]\nprofile = "v8"\nname = "mine"\n'))
        assert config.engine.order().firing_order == (1, 8, 4, 3, 6, 5, 7, 2)
        profile = config.engine.profile_record()
        assert (profile.name, profile.neighbours(1)) == ("mine", (3,)) and profile.geometry is not None

    def test_ones_own_lies_in_the_folder_of_the_configuration(self, tmp_path: Path) -> None:
        add(tmp_path / "engines", "van", {"firing_order": "1-2-3"})
        text = f'[engine]\nprofile = "van"\n[storage]\nfolder = "{tmp_path}"\n'
        assert load(write(tmp_path, text)).engine.order() == EngineOrder("van", (1, 2, 3))

    def test_a_snapshot_stays_what_it_was(self, tmp_path: Path) -> None:
        folder = tmp_path / "engines"
        add(folder, "van", {"firing_order": "1-2-3", "bore": "86 mm"})
        config = load(write(tmp_path, f'[engine]\nprofile = "van"\n[storage]\nfolder = "{tmp_path}"\n'))
        snapshot = json.loads(json.dumps(config.model_dump(mode="json")))
        put_away(folder, "van")
        assert from_snapshot(snapshot, tmp_path).engine.profile_record() == config.engine.profile_record()

    def test_a_snapshot_of_an_earlier_version_still_counts(self, tmp_path: Path) -> None:
        old = {"engine": {"name": "old", "firing_order": "1-2"}}
        assert from_snapshot(old, tmp_path).engine.order() == EngineOrder("old", (1, 2))

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ('profile = "v9"', "engine.profile: There is no engine profile 'v9'."),
            ("profile = 8", "engine.profile: Input should be a valid string"),
            ('profile = "../v8"', "engine.profile: There is no engine profile '../v8'."),
            ('profile = "v8"\nfiring_order = "1-3-4-2"', "exactly one bank"),
            ('bore = "86"', "engine.bore: must be a number with its unit"),
        ],
    )
    def test_a_wrong_one_names_file_and_key(self, tmp_path: Path, text: str, words: str) -> None:
        path = write(tmp_path, f"[engine]\n{text}\n")
        with pytest.raises(ConfigError) as caught:
            load(path)
        assert words in str(caught.value) and str(path) in str(caught.value)
