"""A hole of 50 mm in 2 mm sheet, an Indian exercise with its answer: force and work of punching.

Printed: τ 3100 N/mm² (as printed), F = 973.89 kN; with W = ½·F·t, 973.89 J.

Published values: 2. Tolerance: the printed digits. The work of half the force over the thickness is
that of the full wedge, so it is also force times rise of a raked blade.
"""

import math

import pytest

from service.engine.shearing import parallel, raked_triangle, slope_of

EDGE = math.pi * 50


def test_the_force():
    assert parallel(3100, 2, EDGE) / 1000 == pytest.approx(973.89, abs=0.01)


@pytest.mark.parametrize("rake", [1.5, 3.0])
def test_the_work_is_the_same_for_any_rake(rake):
    long = 1e4
    work_per_mm = raked_triangle(3100, 2, long, rake) * slope_of(rake) / 1000
    assert work_per_mm * EDGE == pytest.approx(973.89, abs=0.01)
