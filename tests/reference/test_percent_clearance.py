"""Blade gap in percent of the thickness, as textbooks and a plate producer have it.

A text on shearing of sheet and plate: 4 to 10 %. A study of shearing energy: 5 to 10 %. The producer:
9 to 12 % at 90 ksi, 12 to 15 % at 125 ksi, 16 to 18 % for 400 HB.

Published values: 5. Tolerance: the middle of our share lies inside the text's range (soft aluminium may
be set at its lower end); for hard plate our range holds the producer's.
"""

import pytest

from service.engine.materials_table import BUILT_IN, material_named


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda material: material.grade)
def test_the_shares_lie_inside_the_textbooks_or_are_those_of_hard_plate(material):
    low, high = material.gap_share
    if material.family == "wear plate":
        assert (low, high) == (0.12, 0.18)
    else:
        assert 0.04 <= (low + high) / 2 <= 0.10


def test_the_producers_range_for_400_hb_lies_inside_ours():
    low, high = material_named("wear plate 400 HBW").gap_share
    assert low <= 0.16
    assert high >= 0.18


def test_carbon_steel_stays_inside_the_study():
    low, high = material_named("S235JR").gap_share
    assert low >= 0.05
    assert high <= 0.10
