"""What handbooks add for dulled edges: a press-tool course 15 to 30 %, a Chinese handbook K = 1.3.

The handbook adds K to τ so that K·τ is about Rm; French lecture notes take Rm for the same reason. The
plate shears of rolling mills have K1 = 1.3 to 1.5.

Published values: 5. Tolerance: the default lies inside the course's range; 0.8·1.25 is Rm exactly, and
K·τ = 1.3·0.8 is Rm within a twentieth.
"""

import math
from dataclasses import replace

import pytest

from service.engine.force import check_force
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.shearing import MILL_CONDITION, SHEAR_SHARE, mill_factor

MACHINE = Machine(
    "m", "m", 300_000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60), BackGauge(500, 100_000), HoldDown(4500)
)


def test_the_default_lies_inside_the_published_range_and_makes_rm_of_the_shear_strength():
    steel = material_named("plain steel")
    sharp = check_force(replace(MACHINE, dulled_allowance=0.0), steel, 400, 200_000).force_kn
    dulled = check_force(MACHINE, steel, 400, 200_000).force_kn
    assert 1.15 <= dulled / sharp <= 1.30
    # ½·Rm·t²/tan φ, as of a wedge whose shear strength is Rm itself
    with_rm = 0.5 * steel.rm_high * 4.0**2 / math.tan(math.radians(1.5)) / 1000
    assert dulled == pytest.approx(with_rm)
    assert 1.3 * SHEAR_SHARE * steel.rm_high == pytest.approx(steel.rm_high * dulled / with_rm, rel=0.05)


def test_the_mill_shears_have_a_blade_condition_of_their_own():
    assert MILL_CONDITION == 1.3
    assert mill_factor(0.0) == mill_factor(0.3) == pytest.approx(1.3 * 0.75 * 1.3)
    assert mill_factor(0.5) == pytest.approx(1.5 * 0.75 * 1.3)
