"""Cantilever under its own weight, beam tables: δ = w·L⁴/(8·E·I); here 3·ρ·g·L⁴/(2·E·t²).

Figures by hand with g 9.80665: steel (210 000 N/mm², 7850 kg/m³) 1 mm thick sags 34.37 mm over
500 mm, 4.454 over 300; 2 mm 8.59 over 500; 3 mm 61.10 over 1000. Aluminium (70 000, 2700) 2 mm 8.87
over 500. The edge of the first is drawn back by 1.35 mm.

Published values: 1. Tolerance: a thousandth; the formula is the printed one, the figures follow from it.
"""

from dataclasses import replace

import pytest

from service.engine.materials_table import material_named
from service.engine.sag import length_gained, pull_back_mm, sag_mm

STEEL = material_named("S235JR")
ALUMINIUM = replace(material_named("6082 T6"), density=2700.0)


@pytest.mark.parametrize(
    ("thickness", "overhang", "sag"),
    [(1, 500, 34.37), (2, 500, 8.59), (3, 1000, 61.10), (1, 300, 4.454)],
)
def test_the_sag_of_steel(thickness, overhang, sag):
    assert sag_mm(STEEL, thickness * 100, overhang * 100) == pytest.approx(sag, rel=1e-3)


def test_the_sag_of_aluminium_is_almost_that_of_steel():
    assert sag_mm(ALUMINIUM, 200, 50_000) == pytest.approx(8.87, rel=1e-3)


def test_twice_the_thickness_sags_a_quarter_and_twice_the_overhang_sixteen_times():
    one = sag_mm(STEEL, 100, 30_000)
    assert sag_mm(STEEL, 200, 30_000) == pytest.approx(one / 4)
    assert sag_mm(STEEL, 100, 60_000) == pytest.approx(one * 16)


def test_it_agrees_with_the_beam_formula_for_any_breadth():
    breadth, t, reach = 37.0, 1.5, 420.0
    weight = 7850e-9 * 9.80665 * breadth * t
    inertia = breadth * t**3 / 12
    assert sag_mm(STEEL, 150, 42_000) == pytest.approx(weight * reach**4 / (8 * 210_000 * inertia))


def test_the_sagging_edge_is_drawn_back():
    assert pull_back_mm(34.37, 500) == pytest.approx(1.35, abs=0.005)


def test_the_pull_back_is_half_the_sum_of_the_squared_slope():
    # y(x) = w·x²·(6L² − 4Lx + x²)/(24EI), so y' = w·(12L²x − 12Lx² + 4x³)/(24EI) and δ = 3wL⁴/(24EI)
    reach, sag, steps = 500.0, 20.0, 2000
    unit = sag / (3 * reach**4)
    width = reach / steps
    total = 0.0
    for step in range(steps):
        x = (step + 0.5) * width
        total += (unit * (12 * reach**2 * x - 12 * reach * x**2 + 4 * x**3)) ** 2 * width
    assert pull_back_mm(sag, reach) == pytest.approx(total / 2, rel=1e-4)


def test_a_sheet_without_thickness_is_refused():
    with pytest.raises(ValueError, match="thickness"):
        sag_mm(STEEL, 0, 50_000)


def test_a_sagging_drop_gains_what_its_edge_is_drawn_back():
    # 34.37 mm over 500 mm draws back 1.35 mm; 8.59 mm 0.08; beyond a tenth of the depth it misses the gauge.
    assert length_gained(STEEL, 100, 50_000) == 135
    assert length_gained(STEEL, 200, 50_000) == 8
    assert sag_mm(STEEL, 100, 75_000) > 75
    with pytest.raises(ValueError, match="misses the gauge"):
        length_gained(STEEL, 100, 75_000)


def test_a_support_carries_from_its_limits_on():
    assert length_gained(STEEL, 100, 50_000, (5.0, 0.1)) == 0
    assert length_gained(STEEL, 200, 50_000, (10.0, 0.1)) == 8
    assert length_gained(STEEL, 100, 75_000, (5.0, 0.1)) == 0
