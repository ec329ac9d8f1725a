"""Kalpakjian and Schmid, sheet-metal forming: F = 0.7·UTS·t·L (from memory; answer read in print).

A hole of 1 in, sheet 0.125 in, UTS 140 000 psi: 38 485 lbf.

Published values: 1. Tolerance: 1 lbf, the printed digits.
"""

import math

import pytest

from service.engine.force import parallel

PSI_IN_N_MM2 = 0.0068947573
LBF_IN_NEWTONS = 4.4482216


def test_the_printed_force_in_pounds():
    force = parallel(0.7 * 140_000 * PSI_IN_N_MM2, 0.125 * 25.4, math.pi * 25.4)
    assert force / LBF_IN_NEWTONS == pytest.approx(38_485, abs=1)
