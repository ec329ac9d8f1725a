"""Oehler's clearance (press-tool handbook; VDI 3368), form from memory, worked by hand.

u = c·t·√τ up to 3 mm and (1.5·c·t − 0.015)·√τ above, τ in kgf/mm². With c = 0.01, t = 3 mm and
τ = 32 kgf/mm² both branches give 0.1697 mm. Handbooks that take N/mm² print the factor 0.32.

Published values: 0. The form is from memory; the figures were worked by hand.
"""

import math

import pytest

from service.engine.clearance import oehler

KGF = 9.80665


def test_both_branches_meet_at_three_millimetres_for_the_usual_constant():
    below, above = oehler(3, 32 * KGF), oehler(3 + 1e-9, 32 * KGF)
    assert below == pytest.approx(0.1697, abs=5e-5)
    assert above == pytest.approx(0.1697, abs=5e-5)


def test_they_do_not_meet_for_another_constant():
    root = math.sqrt(32)
    assert oehler(3, 32 * KGF, c=0.005) == pytest.approx(0.015 * root)
    assert oehler(3 + 1e-9, 32 * KGF, c=0.005) == pytest.approx(0.0075 * root)


@pytest.mark.parametrize(("t", "gap"), [(2, 0.1131), (3, 0.1697), (4, 0.2546), (6, 0.4243)])
def test_the_gaps_at_320_newtons(t, gap):
    # The hand calculation used √(1/10) = 0.316 for the unit; exact is 0.3193, a hundredth more.
    assert oehler(t, 320) == pytest.approx(gap, rel=0.011)


def test_strength_in_newtons_is_converted_and_not_put_in_bare():
    # Bare it would be 18 % of the thickness of mild steel; right is under 6 %.
    assert 0.05 < oehler(2, 320) / 2 < 0.06
