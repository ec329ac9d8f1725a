"""Raked against parallel blade: a Chinese trade-exam question on plate shears with its printed key.

Question: plate 8 mm, tensile strength 420 N/mm², rake 2°30′, one metre. Key: 307.8 kN raked by
F = 0.5·t²·σ/tan β, 3360 kN parallel.

Published values: 2. Tolerance: the printed digits.
"""

import pytest

from service.engine.force import parallel, raked_triangle


def test_the_raked_blade_takes_307_8_kn():
    assert raked_triangle(420, 8, 1000, 2.5) / 1000 == pytest.approx(307.8, abs=0.05)


def test_the_parallel_blade_takes_3360_kn():
    assert parallel(420, 8, 1000) / 1000 == pytest.approx(3360)
