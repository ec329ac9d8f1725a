"""EN 10130, DC01: 270 to 410 N/mm², A80 28 % (suppliers' copies); EN 10346, DX51D: 270 to 500 (memory).

Published values: 5. Tolerance: none, they are limits.
"""

from service.engine.materials_table import material_named


def test_cold_rolled_steel_for_drawing():
    sheet = material_named("DC01")
    assert (sheet.rm_low, sheet.rm_high, sheet.elongation) == (270, 410, 0.28)


def test_galvanised_steel():
    sheet = material_named("DX51D+Z")
    assert (sheet.rm_low, sheet.rm_high) == (270, 500)
