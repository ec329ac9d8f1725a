"""ISO 2768-1:1989, table 1, permissible deviations for linear dimensions (two printed copies).

Published values: 10. Tolerance: none.
"""

import pytest

from service.engine.order import Tolerance
from service.engine.quantities import mm, parse_length
from service.engine.tolerance import class_deviation, limits_of


@pytest.mark.parametrize(
    ("size", "name", "deviation"),
    [
        (500, "m", 0.8),
        (350, "m", 0.5),
        (1500, "c", 3),
        (2500, "v", 8),
        # A copy with the older DIN 7168 values prints 0.2 here.
        (5, "c", 0.3),
        (3, "f", 0.05),
        (2000, "f", 0.5),
        (30, "m", 0.2),
        (4000, "m", 2),
        (400, "v", 2.5),
    ],
)
def test_the_deviations_of_the_table(size, name, deviation):
    assert class_deviation(name, mm(size)) == mm(deviation)


# The whole of the table, mm; two printed copies agree on it. None: the standard gives no value.
ENDS = (3, 6, 30, 120, 400, 1000, 2000, 4000)
TABLE = {
    "f": (0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, None),
    "m": (0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2),
    "c": (0.2, 0.3, 0.5, 0.8, 1.2, 2, 3, 4),
    "v": (None, 0.5, 1, 1.5, 2.5, 4, 6, 8),
}


@pytest.mark.parametrize("name", TABLE)
def test_every_range_is_over_the_one_before_up_to_and_including_its_end(name):
    before = 0.5
    for end, deviation in zip(ENDS, TABLE[name], strict=True):
        if deviation is not None:
            assert class_deviation(name, mm(end)) == mm(deviation)
            assert class_deviation(name, mm(before) + 1) == mm(deviation)
        before = end


def test_the_limits_of_a_class_hold_both_ways_and_those_of_an_order_as_it_says():
    assert limits_of(Tolerance("m"), mm(500)) == (mm(0.8), mm(0.8))
    assert limits_of(Tolerance("m", minus=0, plus=50), mm(500)) == (0, 50)
    assert limits_of(Tolerance("m", plus=parse_length(1, "in")), mm(500)) == (2540, 2540)
