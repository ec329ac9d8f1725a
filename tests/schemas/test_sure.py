"""Seen at a glance: what is passed so, the schema itself finds nothing wrong with."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.events import PushSchema
from schemas.payloads import PAYLOADS
from schemas.sure import sure
from tests.service.shop import NOW, Station, cuts_made, piece

GOOD: dict[str, dict[str, Any]] = {
    "cuts.made": cuts_made(heat="H1", operator="AB", start_mm=0, plan_id=None, pieces=4, made_by=[2, 3]),
    "parts.taken": {
        "machine": "m", "material": "S235JR", "thickness_mm": 3, "parts": cuts_made()["parts"],
        "plan_id": "55f0c1d2a3b4e5f6", "layout": 1, "sheets": 4, "layout_sheets": None,
    },
    "stock.taken": {**piece(), "ref": "SH-A"},
    "scrap.made": {**piece(), "reason": "trim", "remark": "bent"},
    "offcut.stored": {**piece(), "ref": "OC-1", "heat": None},
    "gauge.measured": {"machine": "m", "gauge_mm": 300, "measured_mm": 300.12},
    "edge.measured": {"machine": "m", "radius_um": 20},
    "blade.turned": {"machine": "m", "edge": 1, "work": "turned"},
    "log.withdrawn": {"event_id": "00000000-0000-4000-8000-000000000001", "reason": "twice"},
    "program.saved": {
        "program_id": "p", "name": "n", "machine": "m", "material": "S235JR", "thickness_mm": 3,
        "cut_length_mm": 2500, "steps": [{"gauge_mm": 300, "repeat": 2}], "based_on_revision": 0,
    },
}  # fmt: skip

ODD = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.just([]), st.just({}),
    st.sampled_from([0, -0.0, 0.01, 0.005, 1e-9, 100_000, 100_000.01, 2**53, 2**63, 10**400, 5.0, "5", "\0",
                     "\ud800", "x" * 61, "x" * 60, float("inf"), [None], [{}], {"a": 1}, (), "trim", "cut"]),
)  # fmt: skip


def places(document: Any, so_far: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [so_far] if so_far else []
    if isinstance(document, dict | list):
        steps = document if isinstance(document, dict) else range(len(document))
        for step in steps:
            found += places(document[step], (*so_far, step))
    return found


def changed(document: Any, place: tuple[Any, ...], value: Any, how: str) -> Any:
    made = copy.deepcopy(document)
    inside = made
    for step in place[:-1]:
        inside = inside[step]
    if how == "drop":
        del inside[place[-1]]
    elif how == "add" and isinstance(inside, dict):
        inside["unheard of"] = value
    else:
        inside[place[-1]] = value
    return made


@given(data=st.data())
def test_nothing_is_passed_at_a_glance_that_the_schema_refuses(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(sorted(GOOD)))
    document: Any = GOOD[kind]
    for _ in range(data.draw(st.integers(1, 2))):
        where = places(document)
        if not where:
            break
        how = data.draw(st.sampled_from(["set", "set", "set", "drop", "add"]))
        document = changed(document, data.draw(st.sampled_from(where)), data.draw(ODD), how)
    if sure(PAYLOADS[kind])(document):
        assert PAYLOADS[kind]().validate(document) == {}


@given(data=st.data())
def test_nor_is_a_push_whose_envelopes_are_wrong(data: st.DataObject) -> None:
    station = Station()
    push: Any = {"station": "ng-1", "sent_at": NOW.isoformat(), "events": [station.cut(), station.cut()]}
    document = changed(
        push,
        data.draw(st.sampled_from(places(push))),
        data.draw(ODD),
        data.draw(st.sampled_from(["set", "drop", "add"])),
    )
    if sure(PushSchema)(document):
        assert PushSchema().validate(document) == {}


@pytest.mark.parametrize("kind", sorted(set(GOOD) - {"edge.measured"}))
def test_the_usual_event_is_seen_at_a_glance(kind: str) -> None:
    assert set(GOOD) == set(PAYLOADS)
    assert sure(PAYLOADS[kind])(GOOD[kind])


def test_a_schema_that_looks_at_several_fields_together_is_left_to_itself() -> None:
    assert not sure(PAYLOADS["edge.measured"])(GOOD["edge.measured"])
