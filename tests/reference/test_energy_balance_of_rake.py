"""Force against rake at one plate: a plate producer's table, and the energy balance behind it.

Printed: 3/8 in plate, Rm 125 ksi, rakes 3°, 4°, 5° take 73, 55 and 44 tons. The balance
F = w/tan φ gives 73 : 54.7 : 43.7. A measured study (Int. J. of Mechanical and Materials
Engineering, 2016) found angled tools to follow from parallel ones up to about 2° of rake.

Published values: 2. Tolerance: the printed whole tons.
"""

import pytest

from service.engine.force import check_force, raked_triangle
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import material_named


def test_the_printed_tons_stand_in_the_ratio_of_the_balance():
    three, four, five = (raked_triangle(862, 9.525, 1e5, rake) for rake in (3, 4, 5))
    assert 73 * four / three == pytest.approx(54.7, abs=0.05)
    assert 73 * five / three == pytest.approx(43.7, abs=0.05)
    assert round(73 * four / three) == 55
    assert round(73 * five / three) == 44


def test_the_work_of_a_cut_does_not_ask_for_the_rake():
    machine = Machine(
        "m", "m", 300_000, Rating(600), Rake(0.5, 5), GapRange(5, 80), BackGauge(500, 100_000), HoldDown(4500)
    )
    works = {
        round(check_force(machine, material_named("S235JR"), 400, 200_000, rake).work_j, 6)
        for rake in (1, 2, 5)
    }
    assert len(works) == 1
