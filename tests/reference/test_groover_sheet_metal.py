"""Groover, Fundamentals of Modern Manufacturing, sheet metalworking: c = Ac·t and F = S·t·L.

The allowances were read in a quotation of the table: 0.045 for 1100S and 5052S, 0.060 for 2024ST and
6061ST, brass, soft cold-rolled steel and soft stainless. The three problems are from memory: power shears
on soft cold-rolled steel of 4.75 mm, c = 0.285 mm, and two disks of half hard steel, F = 565.5 and 467.5 kN.

Published values: 5. Tolerance: the printed allowance lies in the range that is usual here for the like
grade; forces to the printed digits.
"""

import math

import pytest

from service.engine.clearance import usual_gap
from service.engine.force import parallel
from service.engine.materials_table import material_named


@pytest.mark.parametrize(
    ("grade", "allowance"),
    [
        ("1050A H14", 0.045),
        ("5754 H111", 0.045),
        ("6082 T6", 0.060),
        ("CuZn37 R300", 0.060),
        ("DC01", 0.060),
        ("1.4301", 0.060),
    ],
)
def test_the_printed_allowance_is_usual_here(grade, allowance):
    low, high = material_named(grade).gap_share
    assert low <= allowance <= high
    # and not by the width of the range: it is less than twice from end to end
    assert high < 2 * low


def test_power_shears_on_soft_cold_rolled_steel_of_4_75_mm():
    low, high = usual_gap(material_named("DC01"), 475)
    assert low <= 28.5 <= high


@pytest.mark.parametrize(
    ("strength", "thickness", "diameter", "force"), [(300, 3.0, 200, 565.5), (310, 3.2, 150, 467.5)]
)
def test_a_disk_of_half_hard_steel(strength, thickness, diameter, force):
    assert parallel(strength, thickness, math.pi * diameter) / 1000 == pytest.approx(force, abs=0.05)
