"""What a name means is said: the shop's own grade for a built-in one, and mild steel."""

from dataclasses import replace

import pytest

from service.engine.certificates import by_certificates
from service.engine.handling import usual_cautions
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import BUILT_IN, UnknownMaterial, material_named
from service.engine.order import StockItem
from service.engine.plausible import material_findings

SHEAR = Machine(
    "m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60), BackGauge(500, 100000), HoldDown(4500)
)


def test_a_shops_grade_under_a_built_in_name_is_among_the_cautions():
    steel = material_named("S235JR")
    own = replace(steel, rm_low=360.0, rm_high=370.0)
    more = set(usual_cautions(SHEAR, [own])) - set(usual_cautions(SHEAR, [steel]))
    (words,) = more
    # EN 10025-2, table 6: S235 has 360 to 510 N/mm² over all thicknesses of sheet.
    assert "the shop's own grade with 360 to 370 N/mm²; the built-in grade has 360 to 510" in words


def test_it_is_told_when_such_a_grade_is_kept_or_looked_over():
    steel = material_named("S235JR")
    assert material_findings(steel) == ()
    (told,) = material_findings(replace(steel, rm_low=360.0, rm_high=370.0))
    assert told.code == "instead-of-built-in"
    assert "orders of every site" in told.message


def test_no_built_in_grade_is_said_to_be_the_shops():
    plain = usual_cautions(SHEAR)
    for material in BUILT_IN:
        if material.family != "wear plate":
            assert usual_cautions(SHEAR, [material]) == plain


def test_a_certificate_outside_the_range_makes_no_grade_of_the_shop():
    steel = material_named("S235JR")
    plates = [StockItem("A", 300000, 150000, 4, "S235JR", 300, tensile_strength=530.0, certificate="77")]
    counted = by_certificates(steel, plates)
    assert counted.rm_high == 530
    assert usual_cautions(SHEAR, [counted]) == usual_cautions(SHEAR)


def test_by_mild_steel_the_grade_is_offered_before_the_steel_of_rating_plates():
    with pytest.raises(UnknownMaterial, match="did you mean S235JR or "):
        material_named("mild steel")
