"""The bending-and-holding formula, worked by hand in its own units; the coefficients are from memory.

Rm 40.8 kgf/mm², δ 0.25, t 6 mm, φ 1.5°, Z 0.95, y 0.083, X 7.7: P1 = 8413.7 kgf, bending 0.1658,
holding 0.4640, F = 13 713 kgf. With 400 N/mm² put in beside the constant 10 it would be 170 kN.

Published values: 0. The algebra is checked, not the formula: no printed case was found.
"""

import pytest

from service.engine.shearing import bending_and_holding, slope_of

KGF = 9.80665


def test_the_sum_by_hand():
    force = bending_and_holding(40.8 * KGF, 6, 1000, 1.5, 0.25, 0.083, hold_ratio=7.7)
    assert force / KGF == pytest.approx(13_713, abs=1)


def test_each_term_by_hand():
    pure = bending_and_holding(40.8 * KGF, 6, 1000, 1.5, 0.25, 0.0, strip=0.0) / KGF
    assert pure == pytest.approx(8413.7, abs=0.1)
    bent = bending_and_holding(40.8 * KGF, 6, 1000, 1.5, 0.25, 0.0) / KGF
    assert bent / pure - 1 == pytest.approx(0.1658, abs=5e-5)
    assert bent / pure - 1 == pytest.approx(0.95 * slope_of(1.5) / (0.6 * 0.25))
    held = bending_and_holding(40.8 * KGF, 6, 1000, 1.5, 0.25, 0.083, hold_ratio=7.7, strip=0.0) / KGF
    assert held / pure - 1 == pytest.approx(0.4640, abs=5e-5)


def test_the_units_trap_is_not_stepped_into():
    wrong = 8413.7 * KGF * (1 + 0.1658 + 1 / (1 + 10 * 0.25 / (400 * 0.083**2 * 7.7)))
    assert wrong / 1000 == pytest.approx(170.0, abs=0.5)
    right = bending_and_holding(400, 6, 1000, 1.5, 0.25, 0.083, hold_ratio=7.7)
    assert right / 1000 == pytest.approx(134.4, abs=0.05)
