"""What a profile leaves out of its lifting limits: two people are no more than the guidance makes of one."""

import pytest

from schemas.machines import LiftingSchema
from service.engine.handling import team_limit_kg
from service.engine.machine import Lifting


@pytest.mark.parametrize("one", [15, 20, 25.0, 16.1])
def test_two_people_follow_from_what_one_may_lift(one: float) -> None:
    """Two thirds of the sum: guidance of the UK's HSE on team handling; in tenths, downwards."""
    limits: Lifting = LiftingSchema().load({"one_person_kg": one})
    most = team_limit_kg([one, one])
    assert most - 0.1 < limits.two_people_kg <= most


def test_what_the_profile_says_is_kept() -> None:
    said = {
        "one_person_kg": 20,
        "two_people_kg": 38.0,
        "one_person_length_mm": 1800,
        "one_person_width_mm": 900,
    }
    limits: Lifting = LiftingSchema().load(said)
    assert (limits.two_people_kg, limits.one_person_length, limits.one_person_width) == (
        38.0,
        180_000,
        90_000,
    )
    assert LiftingSchema().load({}) == Lifting()
    assert LiftingSchema().load(LiftingSchema().dump(limits)) == limits
