"""The script that a builder would write in an evening, to be compared with: read a line, split it, JSON, publish, CSV.

    python tests/benchmarks/naive.py PORT BAUD RATE_HZ BROKER_PORT CSV_FILE

It checks nothing, buffers nothing and survives nothing; it does what it does for each sample.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import serial
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

PSI_PER_V = 150.0 / 4.0


def psi(count: int) -> float:
    return (count / 4096 * 5.0 - 0.5) * PSI_PER_V


def main(path: str, baud: int, rate_hz: int, broker_port: int, csv_path: Path) -> None:
    port = serial.Serial(path, baud, timeout=1)
    port.write(f"CONF:RATE {rate_hz}\nINIT\n".encode())
    client = Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", broker_port)
    client.loop_start()
    with csv_path.open("w") as out:
        out.write("clock_s,supply_psi,cylinder_psi,loss_pct\n")
        while True:
            line = port.readline().decode("ascii", "replace").strip()
            if not line.startswith("S,"):
                continue
            fields = line.split("*")[0].split(",")
            clock_s = int(fields[2], 16) / 1e6
            supply_psi, cylinder_psi = psi(int(fields[3], 16)), psi(int(fields[4], 16))
            loss_pct = 100 * (1 - cylinder_psi / supply_psi) if supply_psi > 1 else None
            reading = {"mono_s": clock_s, "supply_psi": supply_psi, "cylinder_psi": cylinder_psi, "loss_pct": loss_pct}
            client.publish("naive/live", json.dumps(reading))
            out.write(f"{clock_s},{supply_psi},{cylinder_psi},{loss_pct}\n")
            out.flush()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]), Path(sys.argv[5]))
