"""Least elongations of EN 10346, 10088-2, 485-2 and 1652, and of a producer of wear plate.

Read in stockists' copies of the tables: 5754 H111 and H22, 5083 H111 (A50), Cu-DHP
(A50 33, 8, 4 and 2 %), the plate of 400 HBW (A5 10 %). From memory: DX51D+Z, 1.4301 and 1.4404 (A80), 6082
T6 and CuZn37 (A50). Aluminium has another figure in each range of thickness; that of 1.5 to 3 mm is held, to
which shears of this size are mostly put.

Published values: 15. Tolerance: none, they are limits.
"""

import pytest

from service.engine.materials_table import material_named


@pytest.mark.parametrize(
    ("grade", "percent"),
    [
        ("DX51D+Z", 22),
        ("1.4301", 45),
        ("1.4404", 40),
        ("5754 H111", 16),
        ("5754 H22", 10),
        ("5083 H111", 13),
        ("6082 T6", 7),
        ("Cu-DHP R220", 33),
        ("Cu-DHP R240", 8),
        ("Cu-DHP R290", 4),
        ("Cu-DHP R360", 2),
        ("CuZn37 R300", 38),
        ("CuZn37 R350", 19),
        ("CuZn37 R410", 8),
        ("wear plate 400 HBW", 10),
    ],
)
def test_the_elongation_is_that_of_the_standard(grade, percent):
    assert material_named(grade).elongation == pytest.approx(percent / 100)
