"""Mass of sheets: density times volume, and the allowance that a mill association's table makes.

1250 × 2500 × 2 mm at 7850 kg/m³ (EN 1991-1-1 and trade tables) are 49.06 kg. The association counts
8039 kg/m³ below 4.5 mm to allow for plus tolerance: 3500 × 2500 × 4 mm are 281.37 kg, 274.75 at 7850.

Published values: 2. Tolerance: the printed digits.
"""

from dataclasses import replace

import pytest

from service.engine.handling import piece_kg
from service.engine.materials_table import material_named

STEEL = material_named("S235JR")


def test_a_medium_sheet_of_2_mm():
    assert piece_kg(STEEL, 125_000, 250_000, 200) == pytest.approx(49.06, abs=0.005)


def test_the_association_counts_an_allowance_of_more_than_two_percent():
    allowed = replace(STEEL, density=8039)
    assert piece_kg(allowed, 350_000, 250_000, 400) == pytest.approx(281.37, abs=0.01)
    assert piece_kg(STEEL, 350_000, 250_000, 400) == pytest.approx(274.75, abs=0.01)
