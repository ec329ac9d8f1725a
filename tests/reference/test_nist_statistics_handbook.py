"""NIST/SEMATECH e-Handbook of Statistical Methods, a public domain text; here from memory of it.

Confidence limits for the mean of 195 measurements (data set ZARR13): mean 9.261460, s 0.022789,
95 % limits 9.258242 and 9.264679. Process capability: limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667.

Published values: 4. Tolerance: the printed digits; for the limits two units of the sixth decimal,
since mean and s are printed rounded.
"""

import math

import pytest

from service.engine.gauge_correction import Measured, gauge_correction
from service.engine.machine import BackGauge
from service.engine.student import student_quantile


def test_the_limits_of_the_mean():
    half = student_quantile(0.95, 194) * 0.022789 / math.sqrt(195)
    assert 9.261460 - half == pytest.approx(9.258242, abs=2e-6)
    assert 9.261460 + half == pytest.approx(9.264679, abs=2e-6)


def test_the_capability_of_the_example():
    # The limits lie 6 about 14, the mean 2 above it, s is 2: here in mm about the gauge value. Five offsets
    # with that mean and spread are 0, 0, 2, 4 and 4.
    offs = (0, 0, 200, 400, 400)
    said = gauge_correction(
        BackGauge(500, 100_000), [Measured(10_000, 10_000 + off) for off in offs], minus=600, plus=600
    )
    assert said.mean_mm == pytest.approx(2)
    assert said.spread_mm == pytest.approx(2)
    assert said.cp == pytest.approx(1.0)
    assert said.cpk == pytest.approx(0.6667, abs=5e-5)
