"""EN 1652, Cu-DHP strip: tensile strength by temper (a stockist's copy of the table).

Published values: 7. Tolerance: none, they are limits; where the standard sets no upper one (R360) the
table holds the minimum plus a shop allowance, and says so.
"""

import pytest

from service.engine.materials_table import OVER_MINIMUM, material_named


@pytest.mark.parametrize(
    ("temper", "low", "high"), [("R220", 220, 260), ("R240", 240, 300), ("R290", 290, 360)]
)
def test_the_ranges_of_the_tempers(temper, low, high):
    copper = material_named(f"Cu-DHP {temper}")
    assert (copper.rm_low, copper.rm_high) == (low, high)


def test_the_hardest_temper_has_a_minimum_only():
    copper = material_named("Cu-DHP R360")
    assert copper.rm_low == 360
    assert copper.rm_high == pytest.approx(360 * OVER_MINIMUM)
    assert copper.strength_basis == "minimum"
