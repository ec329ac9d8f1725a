"""GATE 2004, production and industrial engineering: punching ⌀20 in 2 mm sheet of 350 MPa.

Published values: 1. Tolerance: the printed digits.
"""

import math

import pytest

from service.engine.force import parallel


def test_the_force_is_the_43_98_kn_among_the_answers():
    assert parallel(350, 2, math.pi * 20) / 1000 == pytest.approx(43.98, abs=0.005)
