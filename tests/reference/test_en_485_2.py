"""EN 485-2, aluminium sheet: tensile strength by temper (stockists' copies; 6082 T6 from memory).

Published values: 9. Tolerance: none, they are limits.
"""

import pytest

from service.engine.materials_table import material_named


@pytest.mark.parametrize(
    ("grade", "ranges"),
    [
        ("1050A H14", [(105, 145)]),
        ("5754 H111", [(190, 240)]),
        ("5754 H22", [(220, 270)]),
        ("5083 H111", [(275, 350), (270, 345)]),  # up to 50 mm, and above
    ],
)
def test_the_table_holds_the_envelope(grade, ranges):
    sheet = material_named(grade)
    assert sheet.rm_low == min(low for low, _ in ranges)
    assert sheet.rm_high == max(high for _, high in ranges)


def test_6082_t6_has_minima_only_and_the_upper_end_stands_above_the_larger():
    sheet = material_named("6082 T6")
    assert sheet.rm_low == 300  # 6 to 12.5 mm; 310 up to 6 mm
    assert sheet.rm_high > 310
    assert sheet.strength_basis == "minimum"
    assert [sheet.strength_at(t)[0] for t in (600, 601, 1250)] == [310, 300, 300]
