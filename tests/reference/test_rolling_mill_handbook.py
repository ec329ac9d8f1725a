"""Plate shears of rolling mills: the worked calculation of a Chinese rolling-mill design text.

P = K1·K2·K3·ε·σ·h²·(2 − ε)/(2000·tan α) in tonnes-force, σ in kgf/mm², K1·K2·K3 = 1.3·0.75·1.3,
α = 2.5°, ε = 1.4·δ. The printed results are beside each figure; 56175.28/87.32 is printed as 644.

Published values: 4. Tolerance: 0.05 %, and 0.2 % where the text itself rounded to whole tonnes.
"""

import pytest

from service.engine.shearing import MILL_FACTOR, mill_shear


@pytest.mark.parametrize(
    ("elongation", "strength_kgf", "thickness", "printed_tf", "within"),
    [
        (0.12, 90, 40, 644, 0.002),
        (0.21, 82.7, 25.4, 389, 0.002),
        (0.21, 82.7, 30, 541.88731, 0.0005),
        (0.21, 82.7, 38.1, 874.00939, 0.0005),
    ],
)
def test_the_printed_forces_come_out(elongation, strength_kgf, thickness, printed_tf, within):
    # The formula is linear in strength, so kgf/mm² in gives kgf out.
    force_tf = mill_shear(strength_kgf, thickness, 2.5, 1.4 * elongation) / 1000
    assert force_tf == pytest.approx(printed_tf, rel=within)


def test_the_three_factors_are_those_of_the_text():
    assert pytest.approx(1.2675) == MILL_FACTOR
