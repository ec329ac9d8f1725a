"""EN 10088-2, tensile strengths of stainless sheet; 1.4301 and 1.4404 from memory of the standard.

Published values: 16. Tolerance: none, they are limits.
"""

import pytest

from service.engine.materials_table import material_named


@pytest.mark.parametrize(
    ("grade", "ranges"),
    [
        ("1.4301", [(540, 750), (520, 720)]),
        ("1.4404", [(530, 680), (530, 680)]),
        ("1.4016", [(450, 600), (450, 600), (430, 630)]),
    ],
)
def test_the_table_holds_the_envelope_of_cold_strip_hot_strip_and_plate(grade, ranges):
    material = material_named(grade)
    assert material.rm_low == min(low for low, _ in ranges)
    assert material.rm_high == max(high for _, high in ranges)


def test_cold_rolled_strip_ends_at_8_mm_and_its_range_with_it():
    material = material_named("1.4301")  # from memory
    assert material.strength_at(800) == (520, 750)
    assert material.strength_at(801) == (520, 720)
