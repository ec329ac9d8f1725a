"""Lifting in teams, guidance of the UK's Health and Safety Executive: two people two thirds of the
sum, three people half. A published example: two people of 20 kg each lift 26.6 kg.

Published values: 3. Tolerance: 0.1 kg, as the example is printed cut short.
"""

import pytest

from service.engine.handling import team_limit_kg


def test_two_people_lift_two_thirds_of_the_sum():
    assert team_limit_kg([20, 20]) == pytest.approx(26.67, abs=0.005)
    assert team_limit_kg([20, 20]) == pytest.approx(26.6, abs=0.1)


def test_three_people_lift_half_of_the_sum():
    assert team_limit_kg([20, 20, 20]) == 30
