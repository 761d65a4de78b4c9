"""What a daemon that runs must not hold: what only other commands want, and what serves a page that nobody opens."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from daq.sinks.raw_log import RawLogHeader, write_raw_log
from tests.unit.daemon.scripted import a_measurement

OTHERS = {
    "pydantic_settings", "amqtt", "sqlite_utils", "rich", "segno", "typst", "pyarrow", "scipy", "simulator",
    "daq.report.engine.page", "daq.report.engine.html", "daq.report.certificate", "daq.sinks.store.late_findings",
    "daq.sources.conformance", "multiprocessing", "unittest", "argparse", "html",
}  # fmt: skip
SERVING = {"uvicorn", "starlette", "h11"}

RUN = """
import asyncio, sys, urllib.request
from pathlib import Path
import daq.cli.run
from daq.config import Config, MqttSection, PageSection, StorageSection
from daq.daemon.daemon import Daemon
from daq.sinks.raw_log import read_raw_log

folder, looked_at = Path(sys.argv[1]), sys.argv[2] == "looked at"
links = []

class Source:
    trouble = None

    async def inputs(self):
        for item in read_raw_log(folder / "a.btlog"):
            yield item
            await asyncio.sleep(0)
        if looked_at:
            assert await asyncio.to_thread(lambda: urllib.request.urlopen(links[0]).status) == 200

    def inject(self, item): ...
    def stop(self): ...

config = Config(storage=StorageSection(folder=folder), mqtt=MqttSection(enabled=False), page=PageSection(port=0))
asyncio.run(Daemon(config, Source(), on_page=links.append).run())
print(*sys.modules)
"""


def loaded(folder: Path, looked_at: str) -> set[str]:
    write_raw_log(folder / "a.btlog", RawLogHeader("bench", "boot", "", "test", {}, {}), a_measurement(2.0))
    command = [sys.executable, "-c", RUN, str(folder), looked_at]
    return set(subprocess.check_output(command, text=True).split())


def test_a_daemon_that_nobody_looks_at_holds_nothing_that_serves(tmp_path: Path) -> None:
    modules = loaded(tmp_path, "not looked at")
    assert "daq.sinks.page.sink" in modules
    assert (OTHERS | SERVING) & modules == set()


def test_the_first_browser_brings_in_what_serves_it(tmp_path: Path) -> None:
    assert loaded(tmp_path, "looked at") >= SERVING
