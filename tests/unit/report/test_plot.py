from __future__ import annotations

from xml.etree import ElementTree

import pytest

from daq.report.plot import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, Series, axis, plot


@pytest.mark.parametrize(
    ("values", "low", "step", "high"),
    [
        ([0, 150], 0, 50, 150),
        ([0, 100.6], 0, 25, 125),
        ([-0.10, 0.07], -0.10, 0.05, 0.10),
        ([0.97, 0.53], 0.5, 0.1, 1.0),
        ([3, 3], 2, 0.5, 4),
        ([-1200, 10], -1250, 250, 250),
    ],
)
def test_an_axis_counts_in_steps_of_a_person(values: list[float], low: float, step: float, high: float) -> None:
    found = axis(values)
    assert (found.low, found.step, found.high) == pytest.approx((low, step, high))
    assert found.low <= min(values) + 1e-9 and found.high >= max(values) - 1e-9


@pytest.mark.parametrize(
    ("values", "labels"),
    [
        ([0, 10], ["0", "2", "4", "6", "8", "10"]),
        ([-0.1, 0.1], ["-0.10", "-0.05", "0.00", "0.05", "0.10"]),
        ([0, 100], ["0", "20", "40", "60", "80", "100"]),
        ([0, 12], ["0.0", "2.5", "5.0", "7.5", "10.0", "12.5"]),
    ],
)
def test_labels_have_as_many_decimals_as_the_step(values: list[float], labels: list[str]) -> None:
    found = axis(values)
    assert [found.label(value) for value in found.ticks] == labels


def drawn(*series: Series) -> ElementTree.Element:
    text = plot(series, "pressure [psi]", "a < b & c")
    return ElementTree.fromstring(f"<div>{text.replace('&emsp;', ' ')}</div>")


def test_a_plot_is_sound_xml_with_every_point_inside() -> None:
    tree = drawn(Series("up", [0, 50, 100], [-1, 2, 0.5]), Series("down", [100, 50], [0.4, 0.3], fill=False))
    circles = tree.findall(".//circle")
    assert [c.get("class") for c in circles] == ["full"] * 3 + ["hollow"] * 2
    for circle in circles:
        assert LEFT <= float(circle.get("cx", "")) <= WIDTH - RIGHT
        assert TOP <= float(circle.get("cy", "")) <= HEIGHT - BOTTOM
    assert (tree.findtext("p") or "").split() == ["●", "up", "○", "down"]
    assert "a < b & c" in [text.text for text in tree.iter("text")]


def test_more_is_higher_and_further_right() -> None:
    low, high = drawn(Series("", [0, 10], [0, 10])).findall(".//circle")
    assert float(low.get("cx", "")) < float(high.get("cx", "")) and float(low.get("cy", "")) > float(high.get("cy", ""))


def test_a_joined_series_is_one_line_and_the_zero_line_stands_out() -> None:
    tree = drawn(Series("fit", [0, 1, 2], [-1, 0, 1], joined=True))
    assert len(tree.findall(".//polyline")) == 1 and not tree.findall(".//circle")
    assert [line.get("class") for line in tree.iter("line")].count("zero") == 1
