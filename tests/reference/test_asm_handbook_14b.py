"""Shearing of plate and flat sheet, ASM Handbook volume 14B; the formula is from memory.

F = S·P·t²·(12/R)·(1 − P/2), R in inches per foot. The figures are worked out here by hand from that
formula: S 50 000 psi, t 0.25 in, R 0.25 in/ft: 48 000 lbf at P 0.40, 56 250 lbf at P 0.50.

Published values: 0. The formula is checked by its algebra and by hand; no printed case was found.
"""

import math

import pytest

from service.engine.force import mill_shear, penetration, raked_triangle

LBF_IN_NEWTONS = 4.4482216
PSI_IN_N_MM2 = 0.0068947573


def rake_deg(inches_per_foot):
    return math.degrees(math.atan(inches_per_foot / 12))


@pytest.mark.parametrize(("penetrated", "pounds"), [(0.40, 48_000), (0.50, 56_250)])
def test_the_worked_case_in_inches_and_pounds(penetrated, pounds):
    force = penetration(50_000 * PSI_IN_N_MM2, 0.25 * 25.4, 1000, rake_deg(0.25), penetrated)
    assert force / LBF_IN_NEWTONS == pytest.approx(pounds, rel=1e-6)


def test_the_worked_case_is_213_5_kn():
    force = penetration(50_000 * PSI_IN_N_MM2, 6.35, 1000, rake_deg(0.25), 0.4)
    assert force / 1000 == pytest.approx(213.5, abs=0.05)


@pytest.mark.parametrize(("penetrated", "kn"), [(0.3, 112.18), (0.4, 140.78), (0.5, 164.97), (1.0, 219.97)])
def test_the_metric_twin(penetrated, kn):
    assert penetration(320, 6, 1000, 1.5, penetrated) / 1000 == pytest.approx(kn, abs=0.01)


@pytest.mark.parametrize("penetrated", [0.1, 0.168, 0.4, 0.75, 1.0])
def test_it_is_the_rolling_mill_formula_with_factors_of_one(penetrated):
    ours = penetration(320, 6, 1e6, 1.5, penetrated)
    assert ours == pytest.approx(mill_shear(320, 6, 1.5, penetrated, factor=1.0))


def test_at_full_penetration_it_is_the_full_wedge():
    assert penetration(320, 6, 1e6, 1.5, 1.0) == pytest.approx(raked_triangle(320, 6, 1e6, 1.5))
