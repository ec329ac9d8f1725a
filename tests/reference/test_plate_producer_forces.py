"""A plate producer's table: 3/8 in plate at 125 ksi, and 400 HB plate at 181 ksi, on raked shears.

Printed: 73, 55 and 44 tons at 3°, 4° and 5° for 125 ksi (elongation 17 %), 107 tons at 3° for 400 HB
(11 %). Whether US or metric tons is not said, so both readings must hold.

Published values: 4. Tolerance: the force that rules with sharp edges is below what is printed and the one
with the allowance of a quarter is above it, by 15 % at most; the producer names no formula.
"""

import math
from dataclasses import replace

import pytest

from service.engine.force import check_force
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import material_named

KSI = 6.894757
US_TON, METRIC_TON = 8.896443, 9.80665
PLATE = replace(material_named("S355JR"), rm_low=125 * KSI, rm_high=125 * KSI, elongation=0.17, bands=())
HARD = replace(material_named("wear plate 400 HBW"), rm_low=181 * KSI, rm_high=181 * KSI, elongation=0.11)


def force_kn(plate, rake, dulled):
    shear = Machine(
        "m", "m", 300_000, Rating(2000), Rake(rake, rake), GapRange(5, 200), BackGauge(500, 100_000),
        HoldDown(4500), dulled_allowance=dulled,
    )  # fmt: skip
    return check_force(shear, plate, 953, 200_000).force_kn


@pytest.mark.parametrize(
    ("plate", "rake", "tons"), [(PLATE, 3, 73), (PLATE, 4, 55), (PLATE, 5, 44), (HARD, 3, 107)]
)
@pytest.mark.parametrize("ton", [US_TON, METRIC_TON])
def test_the_printed_force_lies_between_sharp_and_dulled_edges(plate, rake, tons, ton):
    assert force_kn(plate, rake, 0.0) < tons * ton < force_kn(plate, rake, 0.25) < 1.15 * tons * ton


def test_the_printed_forces_fall_with_the_slope_as_ours_do():
    """73 and 44 tons at 3° and 5°: 1.66, and tan 5°/tan 3° = 1.67; the tons are whole."""
    ours = force_kn(PLATE, 3, 0.25) / force_kn(PLATE, 5, 0.25)
    assert ours == pytest.approx(math.tan(math.radians(5)) / math.tan(math.radians(3)), rel=1e-3)
    assert 72.5 / 44.5 < ours < 73.5 / 43.5
