"""Masses, who lifts them, and the usual cautions."""

from dataclasses import replace

import pytest

from service.engine.handling import (
    cautions_for,
    lift_finding,
    lift_for,
    piece_kg,
    team_limit_kg,
    usual_cautions,
)
from service.engine.machine import Lifting, Machine
from service.engine.materials_table import material_named
from service.engine.order import Order
from service.engine.plan import Layout, Leaf
from tests.engine import shears

SMALL = (50_000, 50_000)


def shear(**lifting) -> Machine:
    return shears.shear(lifting=Lifting(**lifting), relief=True)


def test_mass_is_density_times_volume():
    # 100 × 100 × 10 mm are 100 cm³
    assert piece_kg(material_named("S235JR"), 10_000, 10_000, 1000) == pytest.approx(0.785)


@pytest.mark.parametrize(
    ("kg", "lift"),
    [
        (25, "one person"),
        (25.1, "two people"),
        (40, "two people"),
        (40.1, "crane"),
        (500, "crane"),
        (501, None),
    ],
)
def test_the_shops_limits_say_who_lifts(kg, lift):
    assert lift_for(shear(crane_kg=500.0, two_people_kg=40.0), kg, SMALL) == lift


def test_without_a_crane_nobody_lifts_what_two_may_not():
    assert lift_for(shear(), 41, SMALL) is None
    assert "names no crane" in lift_finding(shear(), 41, SMALL).message
    assert lift_finding(shear(), 41, SMALL).level == "stop"


@pytest.mark.parametrize(
    ("kg", "code", "level"),
    [
        (30, "two-people", "note"),
        (35, "team-lift", "caution"),
        (45, "crane", "note"),
        (501, "too-heavy", "stop"),
    ],
)
def test_what_is_said_of_a_lift(kg, code, level):
    finding = lift_finding(shear(crane_kg=500.0, two_people_kg=40.0), kg, SMALL)
    assert (finding.code, finding.level) == (code, level)
    assert "local rules" in finding.basis or "HSE" in finding.basis


def test_a_heavy_lift_for_two_names_the_weight_and_the_guidance_in_plain_words():
    said = lift_finding(shear(two_people_kg=40.0), 38.6, SMALL).message
    assert said.startswith("38.6 kg is heavy for two people: guidance says 33.3 kg")
    assert "two thirds" not in said


def test_by_default_two_people_lift_no_more_than_the_guidance_says():
    """Two thirds of twice what each may lift: guidance of the UK's HSE on team handling."""
    limits = shear().lifting
    assert limits.two_people_kg <= team_limit_kg([limits.one_person_kg] * 2)
    assert lift_for(shear(), 36, SMALL) is None


@pytest.mark.parametrize(
    ("sides", "lift"),
    [
        ((250_000, 100_000), "one person"),
        ((100_000, 250_000), "one person"),
        ((250_001, 10_000), "two people"),
        ((100_001, 100_001), "two people"),
        ((250_000, 125_000), "two people"),
    ],
)
def test_a_piece_too_long_or_too_wide_for_one_person_wants_two_however_light(sides, lift):
    assert lift_for(shear(), 20, sides) == lift
    said = lift_finding(shear(), 20, sides)
    assert (said is None) == (lift == "one person")
    if said is not None:
        assert said.code == "two-people"
        assert "mm: two people" in said.message
    assert lift_for(shear(one_person_length=300_000, one_person_width=150_000), 20, sides) == "one person"


def test_what_one_person_may_lift_needs_no_word():
    assert lift_finding(shear(), 25, SMALL) is None


@pytest.mark.parametrize("people", [0, 4])
def test_teams_are_of_one_to_three(people):
    with pytest.raises(ValueError, match="one to three"):
        team_limit_kg([20.0] * people)


def test_the_usual_cautions_are_always_there_and_never_call_anything_safe():
    said = " ".join(
        usual_cautions(
            replace(shear(), relief=False),
            [material_named("wear plate 400 HBW")],
            ["one person", "two people", "crane"],
            ["narrow-drop", "support-missing", "few-feet"],
        )
    ).lower()
    for word in (
        "hands clear",
        "do not catch",
        "round bar",
        "several layers",
        "hardened",
        "lock out",
        "gloves",
        "two people",
        "crane",
        "en 13985",
        "iso 12100",
        "iso 13855",
        "national rules",
        "licensed practice",
        "back gauge does not back off",
        "chips",
        "never steady them by hand",
        "hang behind the blade",
        "not cut",
    ):
        assert word in said
    assert "safe to" not in said
    assert "is safe" not in said
    assert "safely" not in said


def test_cautions_follow_the_work_at_hand():
    plain = usual_cautions(shear())
    assert not any("crane" in line for line in plain)
    assert len(usual_cautions(shear(), (), ["crane"])) == len(plain) + 1
    assert len(usual_cautions(shear(), [material_named("wear plate 400 HBW")])) == len(plain) + 1
    for code in ("narrow-drop", "support-missing", "few-feet"):
        assert len(usual_cautions(shear(), (), (), [code])) == len(plain) + 1
    assert usual_cautions(shear(), (), (), ["gang"]) == plain


def test_the_cautions_of_a_plan_look_at_what_is_cut_not_at_what_is_in_the_rack():
    hard, mild = material_named("wear plate 400 HBW"), material_named("S235JR")
    order = Order("W-1", shear(), (hard, mild), (), ())

    def of(grade):
        return cautions_for(order, (Layout(1, "S", grade, 300, 1, Leaf("scrap", 0, 0, 10, 10)),), ())

    assert any("chips" in line for line in of(hard.grade))
    assert not any("chips" in line for line in of(mild.grade))
