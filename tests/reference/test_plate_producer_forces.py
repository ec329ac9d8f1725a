"""A plate producer's table: 3/8 in plate at 125 ksi, and 400 HB plate at 181 ksi, on raked shears.

Printed: 73, 55 and 44 tons at 3°, 4° and 5° for 125 ksi (elongation 17 %), 107 tons at 3° for 400 HB
(11 %). Whether US or metric tons is not said, so both readings must lie among our methods.

Published values: 4. Tolerance: that they lie between the lowest and the highest of the methods, sharp
or dulled; the producer names no formula.
"""

import math
from dataclasses import replace

import pytest

from service.engine.materials_table import material_named
from service.engine.shearing import forces

KSI = 6.894757
US_TON, METRIC_TON = 8896.443, 9806.65
PLATE = replace(material_named("S355JR"), rm_low=125 * KSI, rm_high=125 * KSI, elongation=0.17, bands=())
HARD = replace(material_named("wear plate 400 HBW"), rm_low=181 * KSI, rm_high=181 * KSI, elongation=0.11)


@pytest.mark.parametrize(
    ("plate", "rake", "tons"), [(PLATE, 3, 73), (PLATE, 4, 55), (PLATE, 5, 44), (HARD, 3, 107)]
)
@pytest.mark.parametrize("ton", [US_TON, METRIC_TON])
def test_the_printed_force_lies_among_the_methods(plate, rake, tons, ton):
    slope = math.tan(math.radians(rake))
    sharp = forces(plate, 9.525, 1e5, slope, 0.0)[:-1]
    dulled = forces(plate, 9.525, 1e5, slope, 0.25)[:-1]
    assert min(sharp) < tons * ton < max(dulled)
