"""EN 1993-1-1, EN 1999-1-1 (moduli) and EN 1991-1-1 (weight of steel), and EN 10088-1 (densities).

E of steel 210 000 and of aluminium 70 000 N/mm²; steel weighs 77.0 to 78.5 kN/m³; 1.4301 7.9 and
1.4016 7.7 kg/dm³. The Eurocodes from memory, the densities from suppliers' copies.

Published values: 5. Tolerance: the printed digits; for the weight half of the last digit of the lower
end.
"""

import pytest

from service.engine.materials_table import BUILT_IN, material_named
from service.engine.sag import GRAVITY


def test_the_moduli():
    for material in BUILT_IN:
        if material.family in {"carbon steel", "wear plate"}:
            assert material.youngs_modulus == 210_000
        if material.family == "aluminium":
            assert material.youngs_modulus == 70_000


def test_the_weight_of_steel():
    weight = material_named("S235JR").density * GRAVITY / 1000
    assert weight == pytest.approx(77.0, abs=0.05)


@pytest.mark.parametrize(("grade", "density"), [("1.4301", 7900), ("1.4016", 7700)])
def test_the_densities_of_stainless(grade, density):
    assert material_named(grade).density == density
