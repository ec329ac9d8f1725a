"""A shop's own profiles and grades are looked over, and what is wrong is said in words."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.gap_table import table_gap
from service.engine.machine import (
    BackGauge,
    FrontStops,
    GapRange,
    GapRow,
    HoldDown,
    Lifting,
    Machine,
    Rating,
)
from service.engine.materials_table import BUILT_IN, material_named
from service.engine.plausible import (
    certificate_findings,
    certificate_slip,
    density_slip,
    material_findings,
    material_slips,
    modulus_slip,
    share_slip,
    strength_slip,
)
from service.engine.plausible_machine import machine_findings, machine_slips
from service.engine.provenance import properties_of
from tests.engine import shears

STEEL = material_named("S235JR")


def shear(**changes) -> Machine:
    own = {
        "hold_down": HoldDown(4500, tuple(range(10_000, 300_000, 20_000)), 6000, 60.0),
        "front_stops": FrontStops(10_000, 200_000),
        "squaring_arm": 200_000,
        "table_depth": 90_000,
    }
    return shears.shear(**own | changes)


def codes(findings):
    return [finding.code for finding in findings]


def test_an_ordinary_profile_has_nothing_against_it():
    assert machine_slips(shear()) == ()
    assert machine_findings(shear()) == ()


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda material: material.grade)
def test_no_built_in_grade_is_unusual(material):
    assert material_slips(material) == ()
    assert material_findings(material) == ()


@pytest.mark.parametrize(
    ("machine", "path", "words"),
    [
        (shear(squaring_arm=199_999), ("front_stops", "high"), "ends at 1999.99 mm"),
        (shear(smallest_drop=100_001), ("smallest_drop",), "gauge nothing"),
        (shear(lifting=Lifting(40.0, 25.0)), ("lifting", "two_people_kg"), "changed over"),
        (shear(back_gauge=BackGauge(5, 40, step=50)), ("back_gauge", "step"), "longer than its range"),
        (
            shear(hold_down=HoldDown(4500, (10_000, 300_001), 6000)),
            ("hold_down", "feet", 1),
            "beyond the cutting length of 3000 mm",
        ),
        (
            shear(hold_down=HoldDown(4500, (10_000, 15_999), 6000)),
            ("hold_down", "foot_width"),
            "two stand 59.99 mm apart",
        ),
        (shear(table_depth=4_499), ("table_depth",), "does not reach there"),
        (shear(max_thickness=599), ("max_thickness",), "contradicts the rating of 6 mm"),
        (shear(gap=GapRange(0, 3, 1)), ("gap", "high"), "if it is in inches, write 0.76"),
        (shear(gap=GapRange(400, 900)), ("gap", "low"), "more than half of 6 mm"),
        (shear(gap_table=(GapRow(400, 300, 81),)), ("gap_table", 0, "gap"), "cannot be set"),
        (shear(gap_table=(GapRow(400, 100, 51),)), ("gap_table", 0, "gap"), "more than half of 1 mm"),
        (
            shear(gap_table=(GapRow(400, 300, 20), GapRow(400, 300, 22))),
            ("gap_table", 1),
            "3 mm of 400 N/mm² is there twice (row 1)",
        ),
        (
            shear(gap_table=(GapRow(400, 400, 20), GapRow(400, 300, 22))),
            ("gap_table", 0, "gap"),
            "the gap falls from 0.22 mm for 3 mm of 400",
        ),
        (
            shear(gap_table=(GapRow(400, 300, 20), GapRow(600, 300, 18))),
            ("gap_table", 1, "gap"),
            "grows with thickness and strength",
        ),
        (
            # Halfway between 0.2 and 0.4 mm of 400 N/mm² lie 0.3 mm, and the stronger steel has 0.28 there.
            shear(gap_table=(GapRow(400, 200, 20), GapRow(400, 600, 40), GapRow(600, 400, 28))),
            ("gap_table", 2, "gap"),
            "at 4 mm the gap falls from 0.30 mm for 400 N/mm² to 0.28 mm for 600",
        ),
    ],
)
def test_a_profile_that_contradicts_itself_is_refused_where_it_does(machine, path, words):
    slips = [slip for slip in machine_slips(machine) if slip.path == path]
    assert slips, machine_slips(machine)
    assert words in slips[0].message


@pytest.mark.parametrize(
    "machine",
    [
        shear(squaring_arm=200_000),
        shear(smallest_drop=100_000),
        shear(hold_down=HoldDown(4500, (10_000, 16_000), 6000, 60.0)),
        shear(hold_down=HoldDown(4500, (10_000, 300_000), 6000, 60.0)),
        shear(table_depth=90_000, hold_down=HoldDown(90_000)),
        shear(max_thickness=600),
        shear(gap_table=(GapRow(400, 300, 20), GapRow(400, 600, 20), GapRow(600, 300, 20))),
        shear(gap_table=(GapRow(400, 200, 20), GapRow(400, 600, 40), GapRow(600, 400, 30))),
    ],
)
def test_what_just_agrees_is_not_refused(machine):
    assert machine_slips(machine) == ()


@pytest.mark.parametrize(
    ("machine", "code"),
    [
        (shear(rating=Rating(600, 280.0)), "unusual-rating"),
        (shear(force_limit_kn=100.0), "force-against-rating"),
        (shear(force_limit_kn=300.0), "force-against-rating"),
        (shear(force_limit_kn=1200.0), "force-against-rating"),
        (shear(hold_down=HoldDown(4500, force_kn=2.0)), "hold-down-against-force"),
        (shear(hold_down=HoldDown(4500)), "hold-down-unknown"),
        (shear(dulled_allowance=0.0), "unusual-allowance"),
        (shear(gap=GapRange(5, 20, 5)), "gap-unusual"),
        (shear(squaring_arm=0), "stops-without-arm"),
        (shear(back_gauge=BackGauge(500, 300_001)), "gauge-beyond-length"),
        (shear(back_gauge=BackGauge(500, 190_000)), "gauge-beyond-table"),
        (shear(back_gauge=BackGauge(500, 100_000, accuracy=254)), "rough-gauge"),
        (shear(rating=Rating(6000), gap=GapRange(5, 800)), "thick-rating"),
        (shear(hold_down=HoldDown(4500, (1_000, 10_000), 6000, 60.0)), "foot-beyond-arm"),
        (shear(strokes_per_minute=900.0), "blade-speed"),
    ],
)
def test_a_doubtful_profile_is_told_and_not_refused(machine, code):
    assert machine_slips(machine) == ()
    found = {finding.code: finding for finding in machine_findings(machine)}
    assert code in found
    assert len(found[code].message) > 20
    assert found[code].basis


@pytest.mark.parametrize(
    ("slip", "words"),
    [
        (strength_slip(58_000), "psi, write 400"),  # ASTM A36: 58 ksi are 400 N/mm²
        (strength_slip(1e9), "5 to 5000 are possible"),
        (strength_slip(0), "5 to 5000 are possible"),
        (density_slip(7.85), "g/cm³, write 7850"),
        (density_slip(490), "lb/ft³, write 7849"),
        (density_slip(0.284), "500 to 25000 are possible"),
        (modulus_slip(210), "GPa, write 210000"),
        (modulus_slip(29_000_000), "psi, write 199948"),
        (modulus_slip(0.2), "1000 to 1000000 are possible"),
        (share_slip(26, 0.005, "elongation"), "percent, write 0.26"),
        (share_slip(5, 0, "blade gap"), "no blade gap as a share; if it is in percent, write 0.05"),
        (share_slip(900, 0.005, "elongation"), "0.005 to 1 are possible"),
    ],
)
def test_a_slip_of_unit_is_named_with_the_figure_that_is_wanted(slip, words):
    assert words in slip


@pytest.mark.parametrize(
    ("machine", "path", "words"),
    [
        # 6 mm of 450 N/mm² at 1.5° takes 0.5·450·36/tan 1.5° = 309 kN.
        (shear(force_limit_kn=320_000.0), ("force_limit_kn",), "write 320 if it is in N"),
        (shear(force_limit_kn=32.0), ("force_limit_kn",), "write 314 if it is in tonnes-force"),
        (shear(rating=Rating(600, 65.0)), ("rating", "rm"), "448 if it is in ksi"),
        (shear(rating=Rating(32)), ("rating", "thickness"), "if it is in inches, write 8.1"),
        (
            shear(hold_down=HoldDown(4500, force_kn=90_000.0)),
            ("hold_down", "force_kn"),
            "write 90 if it is in N",
        ),
    ],
)
def test_a_force_or_a_rating_in_another_unit_is_refused(machine, path, words):
    (slip,) = [one for one in machine_slips(machine) if one.path == path]
    assert words in slip.message


def test_a_machine_that_lacks_the_force_for_its_own_rating_is_told_of():
    rated = 0.5 * 450 * 36 / math.tan(math.radians(1.5)) / 1000
    assert "force-against-rating" not in codes(machine_findings(shear(force_limit_kn=rated + 0.01)))
    short = {one.code: one for one in machine_findings(shear(force_limit_kn=rated - 0.01))}
    assert "lacks the force for its own rating" in short["force-against-rating"].message


def test_a_certificates_strength_is_compared_with_the_grade():
    steel = material_named("S235JR")
    # 62 ksi are 427 N/mm²; S235JR of 3 mm has 360 to 510 (EN 10025-2).
    assert "if it is in ksi, write 427" in certificate_slip(steel, 300, 62)
    assert "it is no certificate of this grade" in certificate_slip(steel, 300, 900)
    assert certificate_slip(steel, 300, 340) is None
    assert codes(certificate_findings(steel, 300, 340)) == ["certificate-outside-grade"]
    assert certificate_findings(steel, 300, 430) == ()
    # What has a minimum only may be stronger than the shop's allowance.
    assert certificate_findings(material_named("6082 T6"), 300, 370) == ()


@pytest.mark.parametrize("strength", [5, 120, 250])
def test_what_may_be_meant_is_no_slip(strength):
    assert strength_slip(strength) is None
    assert density_slip(100 * strength) is None
    assert strength_slip(20 * strength) is None
    assert modulus_slip(4000 * strength) is None
    assert share_slip(strength / 250, 0.001, "elongation") is None


def test_thousand_pounds_or_kilograms_are_found_by_the_family():
    in_ksi = replace(STEEL, rm_low=58.0, rm_high=80.0)
    low, high = material_slips(in_ksi)
    assert low.path == ("rm_low",)
    assert "write 569 if it is in kgf/mm² or 400 if it is in ksi" in low.message
    assert high.path == ("rm_high",)
    # A word of the shop's own for what is as heavy and as stiff as steel is judged as steel.
    assert "400 if it is in ksi" in material_slips(replace(in_ksi, family="our own"))[0].message
    assert material_slips(replace(in_ksi, family="our own", density=2700.0)) == ()
    # the least that a family has is none
    assert material_slips(replace(STEEL, rm_low=200.0)) == ()
    assert material_slips(replace(STEEL, rm_low=199.9)) != ()
    # 3 N/mm² fits no other unit: it is doubted, not refused
    odd = replace(STEEL, rm_low=3.0, rm_high=400.0)
    assert material_slips(odd) == ()
    assert "unusual-figure" in codes(material_findings(odd))


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"density": 2700.0}, "unusual-figure"),
        ({"youngs_modulus": 70_000.0}, "unusual-figure"),
        ({"elongation": 0.9}, "unusual-figure"),
        ({"rm_high": 1600.0}, "unusual-figure"),
        ({"rm_low": 240.0, "rm_high": 490.0}, "wide-strength"),
        ({"gap_share": (0.05, 0.3)}, "unusual-figure"),
        ({"gap_share": (0.0, 0.0)}, "unusual-figure"),
        ({"family": "our own"}, "family-not-known"),
    ],
)
def test_a_doubtful_grade_is_told(changes, code):
    assert code in codes(material_findings(replace(STEEL, **changes)))


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda material: material.grade)
def test_every_built_in_property_has_its_source_and_says_what_it_is(material):
    told = properties_of(material)
    assert [one.name for one in told] == [
        "tensile strength",
        "elongation",
        "density",
        "modulus",
        "blade gap",
        "abrasiveness",
    ]
    for one in told:
        assert one.basis in {"range", "minimum", "typical", "shop default"}
        assert len(one.source) > 5
    assert told[0].basis == material.strength_basis
    if material.rm_low < material.rm_high:
        assert f"force counts with {material.rm_high:g}" in told[0].value


def test_a_shops_own_grade_names_the_shops_source():
    own = replace(STEEL, grade="Q-plate", source="mill sheet of the works")
    assert {one.source for one in properties_of(own)} == {"mill sheet of the works"}


def test_a_gap_table_that_falls_with_strength_beyond_its_rows_is_doubted():
    # 2 mm of 600 N/mm² at 7 % reach 6 mm with 0.42 mm, where the row for 400 N/mm² says 0.5 mm.
    ragged = shear(gap_table=(GapRow(400, 600, 50), GapRow(600, 200, 14)))
    assert machine_slips(ragged) == ()
    said = [one.message for one in machine_findings(ragged) if one.code == "gap-table-ragged"]
    assert "at 6 mm the gap falls from 0.50 mm for 400 N/mm² to 0.42 mm for 600 N/mm²" in said[1]
    even = shear(gap_table=(GapRow(400, 600, 42), GapRow(600, 200, 14)))
    assert "gap-table-ragged" not in {one.code for one in machine_findings(even)}


widths = st.integers(50, 1200)


@settings(max_examples=100, deadline=None)
@given(st.dictionaries(st.tuples(st.sampled_from([200, 400, 600]), widths), st.floats(0.02, 0.3), min_size=2))
def test_a_table_that_is_neither_refused_nor_doubted_never_falls_with_strength(shares):
    rows = tuple(GapRow(rm, t, max(1, round(share * t))) for (rm, t), share in shares.items())
    machine = shear(gap_table=rows, gap=GapRange(1, 400))
    ragged = any(one.code == "gap-table-ragged" for one in machine_findings(machine))
    falls = any(
        table_gap(rows, rm + 50, t).gap < table_gap(rows, rm, t).gap * (1 - 1e-6)
        for rm in range(200, 600, 50)
        for t in range(50, 1201, 50)
    )
    assert not falls or ragged or machine_slips(machine)
