"""The daemon: one source, one driver, many sinks; and what other commands want to know of its bench."""

from daq.daemon.bench import calibration_in_force, new_boot_id, software
from daq.daemon.daemon import Daemon, Source
from daq.daemon.health import Health

__all__ = ["Daemon", "Health", "Source", "calibration_in_force", "new_boot_id", "software"]
