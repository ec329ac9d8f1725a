"""NIST Special Publication 811, conversion factors to SI (from memory), for slips of unit and the tests.

Published values: 6. Tolerance: the printed digits.
"""

import pint
import pytest

from service.engine.clearance import SQRT_KGF
from service.engine.plausible import KGF, KSI, LB_FT3, PSI
from service.engine.quantities import parse_length
from service.engine.shearing import NOSAL_CONSTANT


def test_pounds_and_kilograms_force_in_newtons_per_square_millimetre():
    assert pytest.approx(6.894757e3 / 1e6, rel=1e-7) == PSI
    assert pytest.approx(6.894757, rel=1e-7) == KSI
    assert KGF == 9.80665
    assert pytest.approx(98.0665) == NOSAL_CONSTANT
    assert pytest.approx(9.80665) == 1 / SQRT_KGF**2


def test_pounds_per_cubic_foot_in_kilograms_per_cubic_metre():
    assert pytest.approx(16.01846, abs=5e-6) == LB_FT3


def test_an_inch_is_25_4_mm_exactly():
    assert parse_length(1, "in") == 2540


def test_a_general_library_of_units_agrees():
    units = pint.UnitRegistry()
    assert pytest.approx((1 * units.psi).to("N/mm**2").magnitude, rel=1e-6) == PSI
    assert pytest.approx((1 * units.ksi).to("N/mm**2").magnitude, rel=1e-6) == KSI
    assert pytest.approx((1 * units.kgf / units.mm**2).to("N/mm**2").magnitude) == KGF
    assert pytest.approx((1 * units.pound / units.foot**3).to("kg/m**3").magnitude, rel=1e-6) == LB_FT3
