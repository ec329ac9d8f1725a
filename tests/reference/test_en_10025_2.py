"""EN 10025-2, tensile strengths of structural steels below 3 mm and from 3 to 100 mm.

The two grades S355 have one row of the table.

Published values: 12. Tolerance: none, they are limits.
"""

import pytest

from service.engine.materials_table import material_named

RANGES = [
    ("S235JR", (360, 510), (360, 510)),
    ("S275JR", (430, 580), (410, 560)),
    ("S355JR", (510, 680), (470, 630)),
    ("S355J2", (510, 680), (470, 630)),
]


@pytest.mark.parametrize(("grade", "thin", "thick"), RANGES)
def test_each_thickness_has_its_own_range(grade, thin, thick):
    material = material_named(grade)
    assert material.strength_at(200) == material.strength_at(299) == thin
    assert material.strength_at(300) == material.strength_at(2000) == thick


@pytest.mark.parametrize(("grade", "thin", "thick"), RANGES)
def test_the_table_holds_the_envelope_of_both_ranges(grade, thin, thick):
    material = material_named(grade)
    assert material.rm_low == min(thin[0], thick[0])
    assert material.rm_high == max(thin[1], thick[1])
    assert "EN 10025-2" in material.source
