"""The order of cylinders."""

import pytest

from daq.errors import UsageError
from daq.procedure import EngineOrder


def test_the_order_is_followed_to_its_end() -> None:
    engine = EngineOrder("invented four", (1, 3, 4, 2))
    assert [engine.after(c) for c in (1, 3, 4, 2)] == [3, 4, 2, None]
    assert [engine.before(c) for c in (1, 3, 4, 2)] == [None, 1, 3, 4]


@pytest.mark.parametrize("order", [(), (1, 1), (0, 1), (2, 3), (1, 2, 4), tuple(range(1, 18))])
def test_what_is_no_permutation_of_one_to_n_is_refused(order: tuple[int, ...]) -> None:
    with pytest.raises(UsageError):
        EngineOrder("wrong", order)


def test_sixteen_cylinders_are_allowed() -> None:
    assert EngineOrder("sixteen", tuple(range(1, 17))).after(16) is None
