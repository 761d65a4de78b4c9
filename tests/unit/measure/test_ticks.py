import numpy as np

from daq.measure.ticks import TickGrid
from daq.records import Samples


def samples(t_us: list[int], supply: list[int], segment: int = 0, **more: list[int]) -> Samples:
    def column(name: str) -> np.ndarray:
        return np.array(more.get(name, [0] * len(t_us)), np.int64)

    return Samples(
        segment=segment,
        t_us=np.array(t_us, np.int64),
        supply_count=np.array(supply, np.int64),
        cylinder_count=column("cylinder"),
        reference=column("reference"),
        flags=column("flags"),
    )


def test_a_tick_is_closed_by_a_sample_of_a_later_one() -> None:
    grid = TickGrid()
    assert not len(grid.feed(samples([0, 20_000, 49_999], [1, 2, 6])).t_s)
    ticks = grid.feed(samples([50_000], [100]))
    assert ticks.supply_count.tolist() == [3.0] and ticks.n.tolist() == [3]
    np.testing.assert_allclose(ticks.t_s, [69_999 / 3e6], rtol=1e-15)


def test_means_minimum_and_flags_of_a_tick() -> None:
    grid = TickGrid()
    grid.feed(samples([0, 1], [1, 2], cylinder=[500, 400], reference=[10, 11], flags=[1, 0]))
    grid.feed(samples([2], [4], cylinder=[450], reference=[12], flags=[32]))
    ticks = grid.finish()
    assert ticks.supply_count.tolist() == [7 / 3]
    assert ticks.cylinder_count.tolist() == [450.0] and ticks.cylinder_low_count.tolist() == [400.0]
    assert ticks.reference.tolist() == [11.0] and ticks.flags.tolist() == [33]


def test_empty_ticks_give_no_row() -> None:
    grid = TickGrid()
    ticks = grid.feed(samples([10, 60_000, 1_000_000], [1, 2, 3]))
    assert ticks.supply_count.tolist() == [1.0, 2.0]
    assert grid.finish().supply_count.tolist() == [3.0]
    assert not len(grid.finish().t_s)


def test_the_mean_is_exact_where_floats_would_not_be() -> None:
    grid, late = TickGrid(), 10**13
    grid.feed(samples([late, late + 1, late + 1], [65_535, 65_535, 65_534]))
    ticks = grid.finish()
    assert ticks.t_s[0] == (3 * late + 2) / 3e6
    assert ticks.supply_count[0] == 196_604 / 3


def test_times_before_zero_are_on_the_same_grid() -> None:
    ticks = TickGrid().feed(samples([-10, -1, 0, 49_999, 50_000], [1, 3, 5, 7, 9]))
    assert ticks.supply_count.tolist() == [2.0, 6.0]


def test_a_new_segment_starts_clean() -> None:
    grid = TickGrid()
    grid.reset(1)
    grid.feed(samples([0], [1], segment=1))
    ticks = grid.feed(samples([0, 50_000], [9, 9], segment=2))
    assert ticks.segment == 2 and ticks.n.tolist() == [1] and ticks.supply_count.tolist() == [9.0]
