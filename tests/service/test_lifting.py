"""The check of a lift over HTTP; the equation itself is checked against its published tables elsewhere."""

from __future__ import annotations

from typing import Any

import pytest

from tests.service.shop import Service


def told(answer: Any) -> dict[str, str]:
    assert answer.status_code == 422, answer.text
    return {error["pointer"]: error["message"] for error in answer.json["errors"]}


def test_a_mass_is_held_against_the_limit_of_its_lift(shared: Service) -> None:
    # By hand: 23 · 25/40 = 14.375 kg; a poor hold takes a tenth off it.
    answer = shared.post("/checks/lift", {"mass_kg": 14.375, "horizontal_cm": 40}, "plan").json
    assert answer["limit_kg"] == pytest.approx(14.375 * 0.9)
    assert answer["index"] == pytest.approx(1 / 0.9)
    assert answer["findings"][0]["level"] == "caution"
    assert "local rules decide" in answer["findings"][0]["basis"]


def test_a_piece_is_weighed_and_reached_round(shared: Service) -> None:
    piece = {"material": "S235JR", "thickness": 2, "length": 1250, "width": 600}
    answer = shared.post("/checks/lift", {"piece": piece}, "plan").json
    # Sheet mass tables: 15.7 kg a square metre of 2 mm steel.
    assert answer["mass_kg"] == pytest.approx(15.7 * 1.25 * 0.6)
    assert answer["horizontal_cm"] == 50
    assert answer["multipliers"]["horizontal"] == 0.5


def test_a_lift_out_of_reach_has_no_index(shared: Service) -> None:
    piece = {"material": "S235JR", "thickness": 1, "length": 2500, "width": 1250}
    answer = shared.post("/checks/lift", {"piece": piece}, "plan").json
    assert (answer["limit_kg"], answer["index"]) == (0, None)
    assert answer["findings"][0]["level"] == "stop"


@pytest.mark.parametrize(
    ("question", "pointer"),
    [
        ({}, "/mass_kg"),
        ({"mass_kg": 10}, "/horizontal_cm"),
        ({"mass_kg": 0, "horizontal_cm": 30}, "/mass_kg"),
        ({"mass_kg": 10, "horizontal_cm": 30, "duration": "a day"}, "/duration"),
        ({"piece": {"material": "S999", "thickness": 1, "length": 1, "width": 1}}, "/piece/material"),
        (
            {"mass_kg": 1, "piece": {"material": "S235JR", "thickness": 1, "length": 1, "width": 1}},
            "/mass_kg",
        ),
    ],
    ids=["nothing", "no reach", "no mass", "duration", "grade", "both"],
)
def test_a_lift_that_cannot_be_is_told_why(shared: Service, question: dict[str, Any], pointer: str) -> None:
    assert pointer in told(shared.post("/checks/lift", question))
