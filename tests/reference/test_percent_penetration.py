"""Penetration before fracture, the table of US tool engineers' handbooks (from memory).

Steel 0.20 C: 40 %, 44 000 psi shear strength; steel 0.10 C 50 %, 35 000 psi; copper 55 %, 22 000 psi.

Published values: 6. Tolerance: a quarter; the table is of unnamed grades, ours follow from the
elongation (1.4·A), and its shear strengths must lie between 0.8 times the ends of our ranges.
"""

import pytest

from service.engine.materials_table import material_named
from service.engine.shearing import SHEAR_SHARE, relative_penetration

PSI = 0.006894757


@pytest.mark.parametrize(
    ("grade", "share", "psi"),
    [("S235JR", 0.40, 44_000), ("DC01", 0.50, 35_000), ("Cu-DHP R220", 0.55, 22_000)],
)
def test_penetration_and_shear_strength_are_of_the_printed_order(grade, share, psi):
    material = material_named(grade)
    assert relative_penetration(material) == pytest.approx(share, rel=0.25)
    low, high = SHEAR_SHARE * material.rm_low, SHEAR_SHARE * material.rm_high
    assert low * 0.75 <= psi * PSI <= high * 1.25
