"""ASTM A36 plate: tensile strength 58 to 80 ksi, here in N/mm².

Published values: 2. Tolerance: 1 and 2 N/mm², the standard rounds its metric figures.
"""

import pytest

from service.engine.materials_table import material_named

KSI_IN_N_MM2 = 6.8947573


def test_the_strength_in_thousand_pounds_per_square_inch():
    plate = material_named("A36")
    assert plate.rm_low == pytest.approx(58 * KSI_IN_N_MM2, abs=1)
    assert plate.rm_high == pytest.approx(80 * KSI_IN_N_MM2, abs=2)
