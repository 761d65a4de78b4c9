import numpy as np

from daq.measure.trailing import Switch, Trailing, windows


def test_new_rows_come_with_those_before_them() -> None:
    trailing = Trailing(1, 3)
    first = trailing.feed(np.array([1.0]))
    np.testing.assert_array_equal(first, [[np.nan, np.nan, 1]])
    np.testing.assert_array_equal(trailing.feed(np.array([2.0, 3.0])), [[np.nan, 1, 2, 3]])
    np.testing.assert_array_equal(trailing.feed(np.array([])), [[2, 3]])


def test_windows_end_where_told() -> None:
    joined = np.array([[0.0, 1, 2, 3, 4], [10, 11, 12, 13, 14]])
    found = windows(joined, np.array([2, 4]), 3)
    np.testing.assert_array_equal(found, [[[0, 1, 2], [2, 3, 4]], [[10, 11, 12], [12, 13, 14]]])
    assert found.flags.c_contiguous


class Line:
    """A switch fed with rows of 0.125 s: `u` up, `d` down, `-` neither; answers with states `1` and `0`."""

    def __init__(self, rise_s: float, fall_s: float) -> None:
        self.switch, self.row = Switch(rise_s, fall_s), 0

    def feed(self, rows: str) -> str:
        t_s = (np.arange(len(rows)) + self.row) * 0.125
        self.row += len(rows)
        kinds = np.array(list(rows))
        states, self.changes = self.switch.feed(t_s, kinds == "u", kinds == "d")
        return "".join("1" if state else "0" for state in states)


def test_goes_on_after_one_dwell_and_off_after_the_other() -> None:
    line = Line(0.25, 0.5)
    assert line.feed("-uuu-dddd--ddddd") == "0001111111111110"
    assert line.changes.tolist() == [3, 15]


def test_a_break_starts_the_dwell_anew() -> None:
    assert Line(0.25, 0.5).feed("uu-uuduuu") == "000000001"


def test_the_dwell_counts_across_calls() -> None:
    line = Line(0.25, 0.5)
    assert line.feed("uu") == "00" and not len(line.changes)
    assert line.feed("u") == "1" and line.changes.tolist() == [0]
    assert line.feed("----") == "1111"


def test_no_dwell_acts_at_once() -> None:
    assert Line(0.0, 0.0).feed("ud-u") == "1001"


def test_no_rows_no_change() -> None:
    assert Line(0.0, 0.0).feed("") == ""
