"""Which rake is chosen, and how long or thick a cut may be: the inverses of the check."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.engine import force
from service.engine.force import check_force, choose_rake, largest_thickness, longest_cut, permitted
from service.engine.machine import HoldDown, Rake, Rating
from service.engine.materials_table import BUILT_IN, material_named
from tests.engine.shears import STEEL, codes, laws, shear

ADJUSTABLE = shear(rake=Rake(0.5, 2.5, 0.1), force_limit_kn=250.0)


def test_the_smallest_rake_within_the_force_limit_is_chosen_where_no_margin_is_wanted():
    machine = replace(ADJUSTABLE, force_margin=0.0)
    rake = choose_rake(machine, STEEL, 500, 200_000)
    assert 0.5 < rake < 2.5
    assert codes(check_force(machine, STEEL, 500, 200_000)) == []
    assert codes(check_force(ADJUSTABLE, STEEL, 500, 200_000, rake)) == []
    assert codes(check_force(ADJUSTABLE, STEEL, 500, 200_000, round(rake - 0.1, 6))) == ["force-over-limit"]
    assert choose_rake(ADJUSTABLE, STEEL, 100, 200_000) == 0.5
    assert choose_rake(ADJUSTABLE, STEEL, 1500, 200_000) == 2.5


# EN 10051:2010, plus tolerance of hot-rolled strip of category A, 5 to 6 mm thick and up to 1500 mm
# wide: from memory.
PLUS_OF_6_MM = 28


def test_sheet_of_the_plus_tolerance_stays_within_the_limit_at_the_rake_that_was_chosen():
    steel, machine = (
        material_named("S235JR"),
        shear(rating=Rating(800), rake=Rake(1.0, 2.5, 0.1), force_limit_kn=320.0),
    )
    check = check_force(machine, steel, 600, 150_000)
    assert check.force_share <= 0.9
    assert codes(check, "caution") == []
    thick = check_force(machine, steel, 600 + PLUS_OF_6_MM, 150_000, check.rake_deg)
    assert thick.force_share <= 1
    # Without a margin it is not.
    bare = check_force(replace(machine, force_margin=0.0), steel, 600, 150_000)
    assert check_force(machine, steel, 600 + PLUS_OF_6_MM, 150_000, bare.rake_deg).force_share > 1
    assert codes(bare, "caution") == ["force-margin"]


def test_the_word_of_a_small_margin_names_the_thickness_that_is_over_the_limit():
    machine = shear(rating=Rating(800), force_limit_kn=320.0, rake=Rake(1.9, 1.9))
    steel = material_named("S235JR")
    (said,) = [
        one for one in check_force(machine, steel, 620, 150_000).findings if one.code == "force-margin"
    ]
    over = next(t for t in range(620, 800) if codes(check_force(machine, steel, t, 150_000)))
    assert f"sheet above {(over - 1) / 100:g} mm is over the limit" in said.message


def test_thin_sheet_that_is_too_strong_ends_the_largest_thickness_though_thicker_might_pass():
    # 2.99 mm of 680 N/mm² counts 3.68 mm, 3.00 mm of 630 counts 3.55 mm.
    machine = shear(rating=Rating(360))
    grade = material_named("S355JR")
    assert permitted(machine, grade, 300, 50_000)
    limit = largest_thickness(machine, grade, 50_000)
    assert limit == math.floor(360 / math.sqrt(680 / 450))
    assert not permitted(machine, grade, limit + 1, 50_000)


def test_a_higher_rake_is_chosen_where_it_holds_the_piece():
    held = HoldDown(4500, tuple(range(10_000, 300_000, 20_000)), 5000, 90.0)
    machine = shear(rake=Rake(0.5, 2.5, 0.1), force_limit_kn=500.0, hold_down=held)
    free = choose_rake(replace(machine, hold_down=HoldDown(4500)), STEEL, 300, 60_000)
    rake = choose_rake(machine, STEEL, 300, 60_000)
    assert free == 0.5 < rake < 2.5
    # 3 of 15 feet give 18 kN, which hold 120 kN at 15 %.
    assert check_force(machine, STEEL, 300, 60_000, rake).force_kn <= 120
    assert check_force(machine, STEEL, 300, 60_000, round(rake - 0.1, 6)).force_kn > 120
    assert choose_rake(machine, STEEL, 500, 60_000) == 2.5


def test_without_a_force_limit_the_rating_at_the_highest_rake_gives_it():
    rated_only = replace(ADJUSTABLE, force_limit_kn=None)
    assert choose_rake(rated_only, STEEL, 600, 300_000) == 2.5
    assert codes(check_force(rated_only, STEEL, 600, 300_000)) == []
    assert codes(check_force(rated_only, STEEL, 600, 300_000, 1.0)) == ["force-over-limit"]
    assert choose_rake(rated_only, STEEL, 200, 300_000) == 0.5


@pytest.mark.parametrize(
    ("rake", "expected"),
    [
        (Rake(1.5, 1.5), (1.5,)),
        (Rake(0.5, 0.8, 0.1), (0.5, 0.6, 0.7, 0.8)),
        (Rake(0.5, 0.75, 0.1), (0.5, 0.6, 0.7, 0.75)),
        (Rake(0.5, 2.0, 0.0), (0.5, 2.0)),
    ],
)
def test_only_rakes_that_the_machine_can_set_are_offered(rake, expected):
    assert force.rakes(shear(rake=rake)) == expected


machines = st.builds(
    shear,
    rating=st.builds(Rating, st.integers(100, 2000), st.sampled_from([400.0, 450.0])),
    rake=st.sampled_from([Rake(1.0, 1.0), Rake(2.2, 2.2), Rake(0.5, 2.5, 0.1), Rake(0.0, 1.0, 0.25)]),
    force_limit_kn=st.none() | st.floats(5, 800),
    cutting_length=st.sampled_from([100_000, 300_000, 412_345]),
)

materials = st.sampled_from(BUILT_IN)


@laws
@given(machines, materials, st.integers(20, 2500))
def test_longest_cut_is_the_exact_inverse_of_the_check(machine, material, thickness):
    longest = longest_cut(machine, material, thickness)
    assert 0 <= longest <= machine.cutting_length
    if longest:
        assert codes(check_force(machine, material, thickness, longest)) == []
    if longest < machine.cutting_length:
        assert codes(check_force(machine, material, thickness, longest + 1))


@laws
@given(machines, materials, st.integers(10, 412_345))
def test_largest_thickness_is_the_exact_inverse_of_the_check(machine, material, cut_length):
    largest = largest_thickness(machine, material, cut_length)
    if cut_length > machine.cutting_length:
        assert largest == 0
        return
    if largest:
        assert codes(check_force(machine, material, largest, cut_length)) == []
    assert codes(check_force(machine, material, largest + 1, cut_length))


@laws
@given(machines, materials, st.integers(20, 2500), st.integers(10, 400_000))
def test_the_quick_answer_and_the_check_agree(machine, material, thickness, cut_length):
    stopped = bool(codes(check_force(machine, material, thickness, cut_length)))
    assert permitted(machine, material, thickness, cut_length) is not stopped


def test_the_inverses_refuse_what_has_no_size():
    with pytest.raises(ValueError, match="thickness"):
        longest_cut(shear(), STEEL, 0)
    with pytest.raises(ValueError, match="cut length"):
        largest_thickness(shear(), STEEL, 0)
