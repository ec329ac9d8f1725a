"""Raked against parallel blade: a Chinese trade-exam question on plate shears with its printed key.

Question: plate 8 mm, tensile strength 420 N/mm², rake 2°30′, one metre. Key: 307.8 kN raked by
F = 0.5·t²·σ/tan β, 3360 kN parallel.

Published values: 2. Tolerance: the printed digits.
"""

from dataclasses import replace

import pytest

from service.engine.force import check_force, parallel, raked_triangle
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import material_named


def test_the_raked_blade_takes_307_8_kn():
    assert raked_triangle(420, 8, 1000, 2.5) / 1000 == pytest.approx(307.8, abs=0.05)


def test_a_checked_cut_takes_what_the_key_says():
    """With the usual allowance of a quarter the wedge is that of the trade handbook."""
    shear = Machine(
        "m", "m", 300_000, Rating(1000), Rake(2.5, 2.5), GapRange(5, 200), BackGauge(500, 100_000),
        HoldDown(4500),
    )  # fmt: skip
    plate = replace(material_named("plain steel"), rm_low=420, rm_high=420)
    assert check_force(shear, plate, 800, 100_000).force_kn == pytest.approx(307.8, abs=0.05)


def test_the_parallel_blade_takes_3360_kn():
    assert parallel(420, 8, 1000) / 1000 == pytest.approx(3360)
