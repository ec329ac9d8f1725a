"""A field under a wrong name is refused, and the right name told."""

from __future__ import annotations

import pytest

from schemas.checks import ProgramQuestionSchema
from schemas.events import payload_errors

PROGRAM = {
    "program_id": "p",
    "name": "Strips",
    "machine": "bench-3m",
    "material": "S235JR",
    "thickness_mm": 3,
    "cut_length_mm": 1000,
    "steps": [{"gauge_mm": 300}],
    "based_on_revision": 0,
}


@pytest.mark.parametrize(("wrong", "right"), [("thickness", "thickness_mm"), ("cut_length", "cut_length_mm")])
def test_a_length_without_its_unit_in_the_name_is_told_the_name_with_it(wrong: str, right: str) -> None:
    payload = {**PROGRAM, wrong: PROGRAM[right]}
    del payload[right]
    told = {error.pointer: error.message for error in payload_errors("program.saved", payload) or []}
    assert told[f"/payload/{wrong}"] == f"this field is not known here; is {right} meant?"


def test_it_is_told_within_a_step_too_and_the_other_way_round() -> None:
    found = payload_errors("program.saved", {**PROGRAM, "steps": [{"gauge": 300}]}) or []
    told = {error.pointer: error.message for error in found}
    assert told["/payload/steps/0/gauge"].endswith("is gauge_mm meant?")
    messages = ProgramQuestionSchema().validate({"thickness_mm": 3})
    assert messages["thickness_mm"] == ["this field is not known here; is thickness meant?"]


def test_a_field_unlike_any_other_is_only_refused() -> None:
    messages = ProgramQuestionSchema().validate({"colour": "red"})
    assert messages["colour"] == ["this field is not known here"]
