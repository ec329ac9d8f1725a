"""ISO 2768-1:1989, table 1, permissible deviations for linear dimensions (two printed copies)."""

import pytest

from service.engine.quantities import mm
from service.engine.tolerance import class_deviation


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
