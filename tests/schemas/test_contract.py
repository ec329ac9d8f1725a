"""What the wire contract takes and refuses, without a service around it."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError

from schemas.events import FIRST_HASH, EventSchema, event_hash, payload_errors
from schemas.orders import MOST_PARTS, read_order, write_order
from schemas.payloads import PAYLOADS
from schemas.problems import WireError, field_errors, pointer
from schemas.records import MachineSchema, StockSchema
from schemas.shop import BladeSchema, SiteSchema, StockRecordSchema, stock_item
from service.engine.quantities import mm

MACHINE = {
    "id": "bench-3m",
    "name": "Bench",
    "cutting_length_mm": 3000,
    "rating": {"thickness_mm": 6},
    "rake": {"low_deg": 0.5, "high_deg": 2},
    "gap": {"low_mm": 0.05, "high_mm": 1},
    "back_gauge": {"low_mm": 5, "high_mm": 1000},
    "hold_down": {"clamping_depth_mm": 45},
}
PART = {"ref": "P1", "length": 600, "width": 300, "quantity": 8, "material": "S235JR", "thickness": 3}
SHEET = {
    "ref": "SH-A",
    "length": 2500,
    "width": 1250,
    "quantity": 8,
    "material": "S235JR",
    "thickness": 3,
}
ORDER: dict[str, Any] = {"order_ref": "W-1", "machine": MACHINE, "parts": [PART], "stock": [SHEET]}


def read(document: Any, **more: Any) -> Any:
    return read_order(document, machine_named=lambda _: None, **more)


def errors_of(document: Any, **more: Any) -> dict[str, str]:
    with pytest.raises(WireError) as caught:
        read(document, **more)
    return {error.pointer: error.message for error in caught.value.errors}


def test_an_order_written_and_read_back_is_the_same() -> None:
    order = read(ORDER)
    assert read(json.loads(json.dumps(write_order(order)))) == order


@given(length=st.integers(1, 10_000_000), width=st.integers(1, 10_000_000), thickness=st.integers(1, 10_000))
def test_every_length_that_can_be_kept_goes_over_the_wire_unharmed(
    length: int, width: int, thickness: int
) -> None:
    part = {**PART, "length": length / 100, "width": width / 100, "thickness": thickness / 100}
    order = read({**ORDER, "parts": [part]})
    line = order.parts[0]
    assert (line.length, line.width, line.thickness) == (length, width, thickness)
    assert read(json.loads(json.dumps(write_order(order)))) == order


def test_inches_and_sheet_gauge_are_read_by_their_tables() -> None:
    """2 1/2 in = 63.5 mm; 11 gauge of the manufacturers' standard steel table is 0.1196 in = 3.04 mm."""
    part = {**PART, "length": "2 1/2", "width": 40, "thickness": "11 ga"}
    sheet = {**SHEET, "thickness": "3.04 mm", "length": "2500 mm", "width": "1250 mm"}
    order = read({**ORDER, "units": "in", "gauge_table": "steel", "parts": [part], "stock": [sheet]})
    line = order.parts[0]
    assert (line.length, line.width, line.thickness) == (6350, 101600, 304)
    assert order.stock[0].length == 250000


def test_units_of_one_request_are_not_left_for_the_next() -> None:
    read({**ORDER, "units": "in", "stock": []})
    errors_of({**ORDER, "units": "in", "parts": [{**PART, "length": -1}]})
    assert read(ORDER).parts[0].length == 60000


@pytest.mark.parametrize("document", [None, [], "order", 7, True])
def test_what_is_no_object_is_told_what_is_wanted(document: Any) -> None:
    assert "order_ref, machine and parts" in errors_of(document)[""]


def test_everything_that_is_wrong_is_told_at_once() -> None:
    wrong = {
        "machine": {**MACHINE, "cutting_length_mm": "3 m"},
        "parts": [{**PART, "length": 0}, {**PART, "ref": "P2", "quantity": 2.5, "width": float("nan")}],
        "stock": [{**SHEET, "colour": "grey"}],
    }
    errors = errors_of(wrong)
    assert set(errors) == {
        "/order_ref",
        "/machine/cutting_length_mm",
        "/parts/0/length",
        "/parts/1/quantity",
        "/parts/1/width",
        "/stock/0/colour",
    }
    assert errors["/order_ref"] == "is missing"
    assert "finite" in errors["/parts/1/width"]


def test_an_unknown_grade_is_named_with_its_neighbours() -> None:
    errors = errors_of({**ORDER, "parts": [{**PART, "material": "S235"}]})
    assert "S235JR" in errors["/parts/0/material"]


def test_faults_between_lines_are_told_with_those_of_single_fields() -> None:
    parts = [PART, {**PART, "material": "S2355"}, {**PART, "ref": "P2", "quantity": 0}]
    assert set(errors_of({**ORDER, "parts": parts})) == {
        "/parts/1/ref",
        "/parts/1/material",
        "/parts/2/quantity",
    }


def test_a_grade_of_the_request_that_cannot_be_read_is_not_told_to_be_unknown() -> None:
    wrong = {**ORDER, "materials": [{"grade": "OWN"}], "parts": [{**PART, "material": "OWN"}]}
    assert "/parts/0/material" not in errors_of(wrong)


@pytest.mark.parametrize(("given", "missing"), [("plus", "minus"), ("minus", "plus")])
@pytest.mark.parametrize("limit", [0, 0.5, "1/64 in"])
def test_a_limit_alone_is_no_tolerance(given: str, missing: str, limit: float | str) -> None:
    parts = [{**PART, "tolerance": {given: limit}}]
    errors = errors_of({**ORDER, "parts": parts})
    assert list(errors) == [f"/parts/0/tolerance/{missing}"]
    assert f"{given} is given without {missing}" in errors[f"/parts/0/tolerance/{missing}"]
    assert read({**ORDER, "parts": [{**PART, "tolerance": {given: limit, missing: 0.2}}]})


def test_plans_made_when_a_limit_alone_was_taken_both_ways_are_read_as_they_were() -> None:
    order = read({**ORDER, "parts": [{**PART, "tolerance": {"plus": 0.5}}]}, made_before=True)
    assert order.parts[0].tolerance.plus == 50


def test_limits_on_one_side_of_the_size_are_told_what_is_wanted() -> None:
    errors = errors_of({**ORDER, "parts": [{**PART, "tolerance": {"plus": -0.1, "minus": 0.4}}]})
    assert "give another size" in errors["/parts/0/tolerance/plus"]


def test_limits_of_fields_are_told_in_whole_figures() -> None:
    errors = errors_of({**ORDER, "parts": [{**PART, "quantity": 0}]})
    assert errors["/parts/0/quantity"] == "a number from 1 to 1000000 is wanted"


def test_a_list_of_nothing_is_told_that_something_is_wanted() -> None:
    assert errors_of({**ORDER, "parts": []})["/parts"] == "at least 1 entry is wanted"


def test_more_lines_than_are_taken_are_refused() -> None:
    parts = [{**PART, "ref": str(number)} for number in range(MOST_PARTS + 1)]
    assert errors_of({**ORDER, "parts": parts})["/parts"] == "at most 10000 entries are wanted"


def test_without_stock_the_shops_own_of_the_right_kind_is_taken() -> None:
    items = [
        StockSchema().load({**SHEET, **changes})
        for changes in ({}, {"ref": "B", "thickness": 4}, {"ref": "A", "quantity": 1})
    ]
    order = read({k: v for k, v in ORDER.items() if k != "stock"}, stock_at=lambda _: items)
    assert [item.ref for item in order.stock] == ["A", "SH-A"]


def test_sheets_come_with_mill_edges_and_offcuts_with_cut_ones() -> None:
    """EN 10051:1991: sheet with mill edges up to 20 mm over its width, never under."""
    assert (StockSchema().load(SHEET).edges, StockSchema().load(SHEET).oversize) == ("mill", mm(20))
    offcut = StockSchema().load({**SHEET, "kind": "offcut"})
    assert (offcut.edges, offcut.oversize) == ("cut", mm(0.5))


@pytest.mark.parametrize(
    ("feet", "field"),
    [
        ({"feet_mm": [100, 200]}, "foot_width_mm"),
        ({"feet_first_mm": 100, "feet_pitch_mm": 200}, "feet_pitch_mm"),
        (
            {
                "feet_mm": [1],
                "feet_first_mm": 100,
                "feet_pitch_mm": 200,
                "feet_count": 3,
                "foot_width_mm": 50,
            },
            "feet_mm",
        ),
    ],
)
def test_feet_are_given_in_one_way_and_whole(feet: dict[str, Any], field: str) -> None:
    machine = {**MACHINE, "hold_down": {"clamping_depth_mm": 45, **feet}}
    assert f"/machine/hold_down/{field}" in errors_of({**ORDER, "machine": machine})


def test_feet_by_pitch_are_the_same_as_feet_by_list() -> None:
    pitch = {"feet_first_mm": 100, "feet_pitch_mm": 250, "feet_count": 3, "foot_width_mm": 50}
    listed = {"feet_mm": [600, 100, 350], "foot_width_mm": 50}
    first, second = (
        MachineSchema().load({**MACHINE, "hold_down": {"clamping_depth_mm": 45, **feet}})
        for feet in (pitch, listed)
    )
    assert first == second


def test_a_stock_record_is_a_stock_item_and_its_site() -> None:
    record = StockRecordSchema().load({**SHEET, "site": "northgate"})
    document = StockRecordSchema().dump(record)
    assert document["site"] == "northgate"
    assert StockRecordSchema().load(document) == record
    assert stock_item(document) == record.item == StockSchema().load(SHEET)


def test_a_blade_starts_with_unused_edges() -> None:
    assert BladeSchema().load({"id": "b", "edges": 2}).used_m == (0.0, 0.0)


def test_schemas_are_the_same_the_second_time() -> None:
    """Fields are shared between instances of a schema: making one must not change the next."""
    for schema in (EventSchema, SiteSchema, BladeSchema):
        before = [len(field.validators) for field in schema().fields.values()]
        assert [len(field.validators) for field in schema().fields.values()] == before


def event(**changes: Any) -> dict[str, Any]:
    return {
        "event_id": "0190b5c6-0000-7000-8000-000000000001",
        "station": "ng-1",
        "epoch": "0190b5c6-0000-7000-8000-000000000000",
        "seq": 1,
        "happened_at": "2026-03-02T09:15:00+01:00",
        "type": "cuts.made",
        "payload": {},
        "prev_hash": FIRST_HASH,
        "hash": FIRST_HASH,
        **changes,
    }


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("event_id", "not-a-uuid"),
        ("event_id", "0190B5C6-0000-7000-8000-000000000001"),
        ("epoch", 7),
        ("seq", 0),
        ("seq", 2**53 + 1),
        ("happened_at", "2026-03-02 09:15"),
        ("happened_at", "2026-03-02T09:15:00"),
        ("happened_at", "2026-02-30T09:15:00Z"),
        ("payload", []),
        ("prev_hash", "F" * 64),
        ("hash", "0" * 63),
        ("colour", "red"),
    ],
)
def test_a_wrong_envelope_is_refused(name: str, value: Any) -> None:
    assert not EventSchema().validate(event())
    with pytest.raises(ValidationError) as caught:
        EventSchema().load(event(**{name: value}))
    assert [error.pointer for error in field_errors(caught.value.messages)] == [f"/{name}"]


def test_the_hash_of_an_event_is_that_of_its_canonical_text() -> None:
    """SHA-256 of the JSON with sorted keys and no spaces; computed apart with hashlib's text here."""
    import hashlib

    text = (
        '{"epoch":"0190b5c6-0000-7000-8000-000000000000",'
        '"event_id":"0190b5c6-0000-7000-8000-000000000001",'
        '"happened_at":"2026-03-02T09:15:00+01:00","payload":{"a":[1,2.5,"\\u00e9"]},'
        f'"prev_hash":"{FIRST_HASH}","seq":1,"station":"ng-1","type":"cuts.made"}}'
    )
    assert event_hash(event(payload={"a": [1, 2.5, "é"]})) == hashlib.sha256(text.encode()).hexdigest()


@given(st.sampled_from(["seq", "type", "station", "payload", "prev_hash", "happened_at", "epoch"]))
def test_the_hash_depends_on_every_field(name: str) -> None:
    other: Any = {"payload": {"x": 1}, "seq": 2}.get(name, "other")
    assert event_hash(event(**{name: other})) != event_hash(event())


@pytest.mark.parametrize("kind", PAYLOADS)
def test_every_payload_names_what_is_missing(kind: str) -> None:
    errors = payload_errors(kind, {})
    assert errors
    assert {error.message for error in errors} == {"is missing"}
    assert all(error.pointer.startswith("/payload/") for error in errors)


def test_an_unknown_type_is_not_judged() -> None:
    assert payload_errors("coolant.changed", {}) is None


def test_pointers_are_written_as_rfc_6901_wants() -> None:
    """RFC 6901, section 4: ~ becomes ~0 and / becomes ~1."""
    assert pointer("a/b", 0, "m~n") == "/a~1b/0/m~0n"
