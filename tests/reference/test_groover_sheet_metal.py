"""Groover, Fundamentals of Modern Manufacturing, sheet metalworking: c = Ac·t and F = S·t·L.

The allowances were read in a quotation of the table; the two problems are from memory, their
arithmetic was done by hand.

Published values: 4. Tolerance: the printed digits.
"""

import math

import pytest

from service.engine.clearance import GROOVER_ALLOWANCE, groover
from service.engine.force import parallel


def test_the_table_of_allowances():
    assert GROOVER_ALLOWANCE == {"soft aluminium": 0.045, "soft": 0.060, "half hard": 0.075}


def test_power_shears_on_soft_cold_rolled_steel_of_4_75_mm():
    assert groover(4.75, "soft") == pytest.approx(0.285)


def test_a_disk_of_200_mm_in_half_hard_steel_of_3_mm():
    assert groover(3.0, "half hard") == pytest.approx(0.225)
    assert parallel(300, 3.0, math.pi * 200) / 1000 == pytest.approx(565.5, abs=0.05)


def test_a_disk_of_150_mm_in_half_hard_steel_of_3_2_mm():
    assert groover(3.2, "half hard") == pytest.approx(0.24)
    assert parallel(310, 3.2, math.pi * 150) / 1000 == pytest.approx(467.5, abs=0.05)
