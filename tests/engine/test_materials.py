"""The table of materials: what a grade says, and what is said of a grade nobody knows."""

from dataclasses import replace

import pytest

from service.engine.materials import certified
from service.engine.materials_table import (
    BUILT_IN,
    OVER_MINIMUM,
    PLAIN_STEEL_RM,
    UnknownMaterial,
    material_named,
)


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda material: material.grade)
def test_every_grade_is_complete_and_says_where_it_comes_from(material):
    assert 0 < material.rm_low <= material.rm_high
    assert 0 < material.elongation < 1
    assert 2000 < material.density < 10_000
    assert 50_000 < material.youngs_modulus < 250_000
    low, high = material.gap_share
    assert 0 < low <= high < 0.25
    assert material.abrasiveness > 0
    assert len(material.source) > 5


def test_grades_are_named_once():
    assert len({material.grade for material in BUILT_IN}) == len(BUILT_IN)


def test_plain_steel_counts_as_450():
    # common practice, no source
    assert material_named("plain steel").rm_high == PLAIN_STEEL_RM == 450


def test_where_a_standard_has_no_upper_limit_an_allowance_stands_above_the_minimum():
    open_ended = [material for material in BUILT_IN if material.strength_basis == "minimum"]
    assert {material.grade for material in open_ended} == {"6082 T6", "Cu-DHP R360"}
    assert material_named("6082 T6").rm_high == pytest.approx(310 * OVER_MINIMUM)


def test_hardened_plate_is_not_for_a_shear():
    assert material_named("wear plate 400 HBW").shearable
    assert not material_named("wear plate 450 HBW").shearable
    assert not material_named("wear plate 500 HBW").shearable


def test_the_shops_own_material_takes_the_place_of_a_built_in_one():
    own = replace(material_named("S235JR"), rm_high=470)
    assert material_named("S235JR", [own]).rm_high == 470
    assert material_named("S235JR").rm_high == 510


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("s235jr", "S235JR"),
        ("S235", "S235JR"),
        ("304", "1.4301"),
        ("1.4302", "1.4301"),
        ("5754", "5754 H111"),
        ("wear plate", "wear plate 400 HBW"),
    ],
)
def test_an_unknown_grade_is_refused_with_the_near_names(written, hint):
    with pytest.raises(UnknownMaterial) as refused:
        material_named(written)
    assert written in str(refused.value)
    assert hint in str(refused.value)


@pytest.mark.parametrize("written", ["", "   ", "?" * 5000])
def test_nonsense_is_answered_with_the_list_of_grades(written):
    with pytest.raises(UnknownMaterial, match="known grades: plain steel, S235JR"):
        material_named(written)


def test_near_names_include_the_shops_own():
    with pytest.raises(UnknownMaterial, match="Q-plate 7"):
        material_named("Q-plate", [replace(material_named("S235JR"), grade="Q-plate 7")])


def test_a_certificate_narrows_the_range_to_one_figure():
    sheet = certified(material_named("S235JR"), 432, "3.1 no. 118")
    assert (sheet.rm_low, sheet.rm_high) == (432, 432)
    assert sheet.grade == "S235JR (3.1 no. 118)"
    assert "certificate 3.1 no. 118" in sheet.source


@pytest.mark.parametrize("strength", [0, -5, float("nan"), float("inf")])
def test_a_certificate_needs_a_strength_above_nothing(strength):
    with pytest.raises(ValueError, match="tensile strength"):
        certified(material_named("S235JR"), strength, "x")
