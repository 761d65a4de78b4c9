"""Draws the diagrams of board.md: `python firmware_spec/drawings/draw.py`. A test sees that they are as drawn here."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from pen import Pen, Point  # noqa: E402 - beside this file, wherever that is

SENSOR_X = 40


def sensor(pen: Pen, y: float, name: str) -> Point:
    """A transducer with its own three wires; returns where its output leaves the cable."""
    pen.box((SENSOR_X, y - 40), (120, 80), [name, "0.5 to 4.5 V"])
    pen.power((SENSOR_X + 60, y - 40))
    pen.wire((SENSOR_X + 60, y + 40), (SENSOR_X + 60, y + 52))
    pen.ground((SENSOR_X + 60, y + 52))
    pen.wire((SENSOR_X + 120, y), (230, y))
    pen.text((SENSOR_X + 128, y - 6), "shielded", "small")
    pen.wire((230, y), (230, y + 8))
    pen.resistor((230, y + 8), (230, y + 62), "100 k")
    pen.ground((230, y + 62))
    pen.dot((230, y))
    return 230, y


def clamps(pen: Pen, x: float, y: float) -> None:
    """Schottky diodes from ground and to the 5 V node."""
    pen.diode((x, y), (x, y - 46))
    pen.power((x, y - 46))
    pen.diode((x, y + 46), (x, y))
    pen.ground((x, y + 46))
    pen.dot((x, y))


def filtered(pen: Pen, start: Point, end_x: float) -> None:
    """R and C of a channel of the microcontroller's own converter."""
    x, y = start
    pen.resistor((x, y), (x + 130, y), "1 k, 1 %")
    clamps(pen, x + 160, y)
    pen.wire((x + 130, y), (end_x, y))
    pen.capacitor((x + 260, y), "2.2 uF")
    pen.dot((x + 260, y))


def divided(pen: Pen, start: Point, end_x: float) -> None:
    """A divider and C of a channel of the external converter."""
    x, y = start
    pen.resistor((x, y), (x + 110, y), "10 k, 0.1 %")
    pen.wire((x + 110, y), (end_x, y))
    clamps(pen, x + 140, y)
    pen.resistor((x + 190, y), (x + 190, y + 62), "18 k")
    pen.ground((x + 190, y + 62))
    pen.capacitor((x + 265, y), "330 nF")
    pen.dot((x + 190, y), (x + 265, y))


def entrance(pen: Pen, y: float) -> None:
    """From the USB socket to the node that feeds everything."""
    pen.text((SENSOR_X, y - 24), "Supply", "big")
    pen.box((SENSOR_X, y - 12), (100, 36), ["USB 5 V"])
    pen.wire((140, y), (170, y))
    pen.box((170, y - 9), (60, 18), ["200 mA"])
    pen.box((260, y - 9), (60, 18), ["bead"])
    pen.wire((230, y), (260, y))
    pen.wire((320, y), (560, y))
    pen.capacitor((360, y), "10 uF")
    pen.wire((440, y), (440, y + 18))
    pen.box((422, y + 18), (36, 24), ["TVS"])
    pen.wire((440, y + 42), (440, y + 60))
    pen.ground((440, y + 60))
    pen.capacitor((510, y), "100 nF")
    pen.dot((360, y), (440, y), (510, y))
    pen.power((560, y))
    pen.text((578, y + 4), "the 5 V node: both sensors, AVCC, AREF, VCC", "small")


def controller(pen: Pen, x: float, y: float, height: float) -> None:
    """The microcontroller with what hangs on it whatever the converter is: line, button, light, crystal."""
    middle, right, bottom = x + 75, x + 150, y + height
    pen.box((x, y), (150, height))
    pen.text((middle, y + height / 2 - 4), "ATmega328P class", "", "middle")
    pen.text((middle, y + height / 2 + 14), "5 V, 16 MHz crystal", "small", "middle")
    pen.power((x + 40, y))
    pen.text((x + 58, y + 16), "VCC AVCC AREF", "small")
    pen.wire((middle, bottom), (middle, bottom + 12))
    pen.ground((middle, bottom + 12))
    pen.box((right + 70, y + 20), (110, 60), ["USB serial", "115200 8N1"])
    for offset, name in ((35, "PD1 TX"), (65, "PD0 RX")):
        pen.wire((right, y + offset), (right + 70, y + offset))
        pen.text((right - 6, y + offset + 4), name, "small", "end")
    button(pen, right, bottom - 130)
    light(pen, right, bottom - 30)


def button(pen: Pen, x: float, y: float) -> None:
    pen.text((x - 6, y + 4), "PD2", "small", "end")
    pen.wire((x, y), (x + 20, y))
    pen.capacitor((x + 24, y), "100 nF", 46)
    pen.dot((x + 24, y))
    pen.resistor((x + 24, y), (x + 110, y), "1 k")
    pen.wire((x + 110, y), (x + 122, y))
    pen.wire((x + 120, y - 12), (x + 152, y - 3))
    pen.wire((x + 152, y), (x + 170, y), (x + 170, y + 16))
    pen.ground((x + 170, y + 16))
    pen.text((x + 138, y - 18), "mark", "small", "middle")


def light(pen: Pen, x: float, y: float) -> None:
    pen.text((x - 6, y + 4), "PB5", "small", "end")
    pen.resistor((x, y), (x + 80, y), "1 k")
    pen.wire((x + 80, y), (x + 100, y))
    pen.diode((x + 100, y), (x + 100, y + 40))
    pen.ground((x + 100, y + 40))
    pen.text((x + 114, y + 24), "status", "small")


def own() -> str:
    pen = Pen(
        1000, 560, "Board with the microcontroller's own converter",
        "Two ratiometric transducers, each with a pull-down of 100 k, 1 k in series, clamps, 2.2 uF, at PC0 and PC1.",
    )  # fmt: skip
    pen.text((SENSOR_X, 28), "RATIO: the sensors' 5 V is the reference", "big")
    for y, name, pin in ((120, "supply", "PC0"), (290, "cylinder", "PC1")):
        filtered(pen, sensor(pen, y, name), 640)
        pen.text((646, y + 4), pin, "small")
    controller(pen, 640, 70, 300)
    entrance(pen, 460)
    return pen.svg()


def i2c() -> str:
    pen = Pen(
        1180, 700, "Board with an external converter of 16 bits",
        "Both transducers and the 5 V node, each behind a divider of 10 k and 18 k with 330 nF, at three inputs of a "
        "converter on the two-wire bus.",
    )  # fmt: skip
    pen.text((SENSOR_X, 28), "ABS: the sensors' 5 V is measured as a third channel", "big")
    for y, name in ((120, "supply"), (290, "cylinder")):
        divided(pen, sensor(pen, y, name), 560)
    pen.power((230, 440))
    pen.wire((230, 440), (230, 450))
    divided(pen, (230, 450), 560)
    pen.text((150, 454), "5 V node", "small")
    pen.box((560, 80), (110, 410), ["converter", "16 bits", "4.096 V", "address 48"])
    for y, number in ((120, "0"), (290, "1"), (450, "2")):
        pen.text((568, y + 4), number, "small")
    bus(pen)
    entrance(pen, 600)
    return pen.svg()


def bus(pen: Pen) -> None:
    """From the converter to the microcontroller."""
    controller(pen, 820, 70, 420)
    for x, y, name, pin in ((700, 330, "SDA", "PC4"), (760, 370, "SCL", "PC5")):
        pen.wire((670, y), (820, y))
        pen.text((664, y + 4), name, "small", "end")
        pen.text((826, y + 4), pin, "small")
        pen.resistor((x, y - 60), (x, y), "4.7 k")
        pen.power((x, y - 60))
        pen.dot((x, y))


def air() -> str:
    pen = Pen(
        1000, 320, "Air side",
        "Shop air, filter and water trap, regulator with gauge, relief valve, supply transducer, valve that shuts the "
        "air off or vents, restrictor, cylinder transducer, hose, adapter, cylinder.",
    )  # fmt: skip
    y = 160
    pen.wire((20, y), (940, y), kind="air")
    for x, words in (
        (100, ["filter", "water trap"]),
        (225, ["regulator", "0 to 100 psi"]),
        (500, ["valve", "air or vent"]),
        (622, ["restrictor", "0.040 x 0.250 in"]),
        (870, ["cylinder", "at TDC"]),
    ):
        pen.box((x, y - 26), (102, 52), words)
    for x, words in ((355, ["gauge"]), (455, ["SUPPLY", "transducer"]), (767, ["CYLINDER", "transducer"])):
        pen.wire((x, y), (x, y - 64), kind="air")
        pen.box((x - 44, y - 110), (88, 46), words)
    pen.wire((405, y), (405, y + 64), kind="air")
    pen.box((361, y + 64), (88, 46), ["relief valve", "125 psi"])
    pen.box((740, y - 14), (54, 28), [], "b dash")
    for at, words in (
        ((58, y - 12), "shop air"),
        ((58, y + 20), "to 120 psi"),
        ((551, y + 44), "full bore"),
        ((673, y + 44), "60 degree approach"),
        ((767, y + 30), "wide, quiet"),
        ((832, y - 12), "hose"),
        ((832, y + 20), "6 mm, 1 m"),
    ):
        pen.text(at, words, "small", "middle")
    pen.text((20, 306), "Nothing narrower than the hose between the cylinder transducer and the engine: no valve core, "
             "no check valve.", "small")  # fmt: skip
    return pen.svg()


DRAWINGS: dict[str, Callable[[], str]] = {"own": own, "i2c": i2c, "air": air}

if __name__ == "__main__":
    for name, draw in DRAWINGS.items():
        (HERE / f"{name}.svg").write_text(draw(), encoding="utf-8")
