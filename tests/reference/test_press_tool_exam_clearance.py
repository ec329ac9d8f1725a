"""Punching a hole of 25 mm in 2.5 mm sheet of 350 N/mm²: an Indian manufacturing exam with its key.

Total clearance 0.0064·t·√τ = 0.3 mm (0.299), die 25.3, punch 25.0; force 68.7 kN. The form
0.0032·t·√τ per side is Oehler's with c = 0.01 and the unit converted. A well-known web calculator
puts Pa and m into it and prints 51.138 mm where 0.0511 mm is right.

Published values: 2. Tolerance: the printed digits.
"""

import math

import pytest

from service.engine.clearance import oehler
from service.engine.force import parallel


def test_the_clearance_of_both_sides_is_0_3_mm():
    assert 2 * oehler(2.5, 350) == pytest.approx(0.299, abs=0.001)


def test_the_force_is_68_7_kn():
    assert parallel(350, 2.5, math.pi * 25) / 1000 == pytest.approx(68.7, abs=0.05)


def test_the_units_trap_of_a_thousand():
    assert oehler(1.13, 200) == pytest.approx(0.0511, abs=0.0001)
