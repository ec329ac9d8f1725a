"""The constant κ of F = κ·Rm·t²/tan φ as handbooks of several countries have it.

Trade handbook (Chinese, read in a trade exam): 0.5. French lecture notes: τ/(2·Rm), 0.29 with τ =
0.58·Rm to 0.5 with τ taken as Rm for blunt edges and friction. German textbook: 0.5·τ with τ = 0.8·Rm,
0.40; and by the work rule W = ⅔·F·t 0.533. Chinese work rule W = m·P·t, m 0.30 to 0.76.

Published values: 6. Tolerance: exact for the two that ours are, which what rules is never below; the
largest published is the upper bound, since conventions differ by more than twice.
"""

import math

import pytest

from service.engine.materials_table import BUILT_IN, material_named
from service.engine.shearing import SHEAR_SHARE, forces, work_per_mm

SLOPE = math.tan(math.radians(1.5))


def kappa(force, material, t=4.0):
    return force * SLOPE / (material.rm_high * t**2)


def test_with_sharp_edges_the_triangle_is_the_german_textbooks():
    assert SHEAR_SHARE == 0.8
    steel = material_named("S235JR")
    assert kappa(forces(steel, 4.0, 1e5, SLOPE, 0.0).triangle, steel) == pytest.approx(0.40)


def test_with_the_allowance_of_a_quarter_it_is_the_trade_handbooks():
    steel = material_named("S235JR")
    assert kappa(forces(steel, 4.0, 1e5, SLOPE, 0.25).triangle, steel) == pytest.approx(0.50)


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda material: material.grade)
def test_what_rules_lies_among_the_published_conventions(material):
    strength = material.strength_at(400)[1]
    ruling = work_per_mm(material, 4.0, 0.25) * 1000 / (strength * 16)
    assert 0.5 - 1e-9 <= ruling <= 0.76
    sharp = work_per_mm(material, 4.0, 0.0) * 1000 / (strength * 16)
    assert 0.4 - 1e-9 <= sharp <= ruling
