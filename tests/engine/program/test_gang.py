"""Pieces side by side: as many as fit the blade and are gripped, no more than save a stroke."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.machine import HoldDown, Machine
from service.engine.program.gang import feet_on, gang_for
from service.engine.quantities import mm


def test_two_strips_of_300_fit_a_blade_of_3000(shear: Machine) -> None:
    assert gang_for(shear, mm(300), 2, shear.cutting_length) == 2


def test_no_more_than_the_blade_is_long(shear: Machine) -> None:
    assert gang_for(shear, mm(1501), 2, shear.cutting_length) == 1
    assert gang_for(shear, mm(1500), 2, shear.cutting_length) == 2


def test_no_more_than_the_shop_lets_its_people_hold(shear: Machine) -> None:
    assert gang_for(shear, mm(100), 12, shear.cutting_length) == 4
    assert gang_for(replace(shear, side_by_side=1), mm(100), 12, shear.cutting_length) == 1


def test_no_more_than_there_is_force_for(shear: Machine) -> None:
    assert gang_for(shear, mm(600), 4, mm(1199)) == 1


def test_pieces_are_shared_evenly_over_the_strokes(shear: Machine) -> None:
    assert gang_for(shear, mm(1000), 4, shear.cutting_length) == 2
    assert gang_for(shear, mm(1000), 7, shear.cutting_length) == 3


def test_a_piece_between_two_feet_goes_in_no_gang(shear: Machine) -> None:
    # Feet at 50 and 350: pieces of 100 lie at 0–100 (gripped) and 100–200 (not).
    feet = replace(shear, hold_down=HoldDown(mm(45), (mm(50), mm(350)), mm(60)))
    assert gang_for(feet, mm(100), 5, feet.cutting_length) == 1
    assert gang_for(feet, mm(200), 5, feet.cutting_length) == 2


def test_half_a_foot_does_not_count(shear: Machine) -> None:
    hold_down = HoldDown(mm(45), (mm(100),), mm(60))
    assert feet_on(hold_down, 0, mm(129)) == 0
    assert feet_on(hold_down, 0, mm(130)) == 1
    assert feet_on(hold_down, mm(71), mm(500)) == 0


@settings(max_examples=100, deadline=None)
@given(st.integers(mm(20), mm(3000)), st.integers(1, 60))
def test_a_gang_never_costs_strokes_against_a_larger_one(along: int, pieces: int) -> None:
    from service.engine.machine import BackGauge, GapRange, Rake, Rating

    shear = Machine(
        "g",
        "g",
        mm(3000),
        Rating(600),
        Rake(1.5, 1.5),
        GapRange(5, 100),
        BackGauge(500, 100000),
        HoldDown(4500),
    )
    gang = gang_for(shear, along, pieces, shear.cutting_length)
    most = min(pieces, shear.side_by_side, mm(3000) // along)
    assert 1 <= gang <= most
    assert -(-pieces // gang) == -(-pieces // most)
