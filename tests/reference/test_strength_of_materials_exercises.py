"""Shearing forces from public exercises with printed answers, F = τ·t·L.

Published values: 3. Tolerance: the printed digits.
"""

import math

import pytest

from service.engine.force import parallel


@pytest.mark.parametrize(
    ("strength", "thickness", "length", "kn", "within"),
    [
        (250, 2, 130, 65.0, 0.05),  # school exercise on sheet shears: 130 mm of 2 mm
        (350, 25, math.pi * 20, 549.8, 0.05),  # strength-of-materials text, problem 115: ⌀20 in 25 mm
        (300, 1.5, math.pi * 20, 28.3, 0.05),  # question bank, metal forming 27: ⌀20 in 1.5 mm
    ],
    ids=["strip", "thick plate", "thin sheet"],
)
def test_the_printed_answer_comes_out(strength, thickness, length, kn, within):
    assert parallel(strength, thickness, length) / 1000 == pytest.approx(kn, abs=within)
