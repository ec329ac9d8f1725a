"""What waits for a person at the centre, and what a person says about it; where a heat went."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema

from schemas.answers import MOST_LISTED
from schemas.events import Moment
from schemas.fields import Choice, Document, JsonBool, JsonInt, Text, between
from schemas.problems import FieldErrorSchema
from schemas.words import says


@says(
    show="which events: waiting, dismissed or corrected",
)
class HeldQuerySchema(Document):
    """Which events: those that wait, or those that a person dismissed or corrected."""

    show = Choice("waiting", "dismissed", "corrected", load_default="waiting")
    cursor = Text(load_default=None, metadata={"description": "`next` of the page before"})
    limit = JsonInt(load_default=100, validate=between(1, MOST_LISTED))


@says(
    payload="the payload that was put in its place; null: it stayed",
    happened_at="the time that was put in its place; null: it stayed",
    made_by="name of the token that was used",
    made_at="when, by the centre's clock",
    outcome="what came of it",
)
class CorrectionSchema(Schema):
    """What a person did about an event: who, when, why, and what came of it."""

    payload = fields.Dict(required=True, allow_none=True)
    happened_at = fields.String(required=True, allow_none=True)
    words = fields.String(required=True)
    made_by = fields.String(required=True)
    made_at = fields.AwareDateTime(required=True)
    outcome = fields.String(required=True)


@says(
    id="number of the entry at the centre",
    state="quarantined; kept, until its type is known here; or applied, as a person corrected it",
    site="id of the site that the station belongs to",
    received_at="when it came, by the centre's clock",
    errors="why it was not applied",
    event="the event as it came, whole",
    corrected_payload="the payload that counts in its place; null: none",
    corrections="what persons did about it, in order",
)
class HeldEventSchema(Schema):
    """An event as it came, whole, why it was not applied, and what persons did about it."""

    id = fields.Integer(required=True)
    state = fields.String(required=True)
    station = fields.String(required=True)
    site = fields.String(required=True)
    received_at = fields.AwareDateTime(required=True)
    event_id = fields.String(
        required=True,
        metadata={
            "description": "the id that it counts under: that of the event, unless a person gave it its own"
        },
    )
    errors = fields.List(fields.Nested(FieldErrorSchema), required=True)
    event = fields.Dict(required=True)
    corrected_payload = fields.Dict(required=True, allow_none=True)
    corrections = fields.List(fields.Nested(CorrectionSchema), required=True)


@says(
    payload="the payload that should have been written; null: it stays",
)
class CorrectEventSchema(Document):
    """The payload that should have been written, or the time, or an id of its own; and why."""

    payload = fields.Dict(keys=fields.String(), load_default=None, allow_none=True)
    happened_at = Text(
        load_default=None,
        allow_none=True,
        most=40,
        also=lambda value: Moment().deserialize(value),
        metadata={"description": "by the station's clock, as the event has it"},
    )
    as_new = JsonBool(
        load_default=False,
        metadata={
            "description": "true: another event came under its event_id before, and both happened; "
            "this one is taken in under an id of its own"
        },
    )
    words = Text(required=True, most=500)

    @validates_schema
    def _something(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        if data["payload"] is None and data["happened_at"] is None and not data["as_new"]:
            raise ValidationError("the corrected payload, or the corrected time, is wanted", "payload")


@says()
class WordsSchema(Document):
    """Why."""

    words = Text(required=True, most=500)


@says(
    show="which discrepancies: open, settled or all",
)
class DiscrepancyQuerySchema(Document):
    """Which discrepancies."""

    show = Choice("open", "settled", "all", load_default="open")
    cursor = Text(load_default=None, metadata={"description": "`next` of the page before"})
    limit = JsonInt(load_default=100, validate=between(1, MOST_LISTED))


@says(
    at="when it happened, by the centre's clock",
    pieces="pieces of the step that it counts; null: not known",
)
class StepEventSchema(Schema):
    """An event that counts pieces of a step; null: how many is not known."""

    event_id = fields.String(required=True)
    station = fields.String(required=True)
    at = fields.AwareDateTime(required=True)
    pieces = fields.Integer(required=True, allow_none=True)


@says(
    id="number of the discrepancy",
    event_id="the event by which it was noticed",
    kind="what does not add up",
    ref="name of the stock",
    taken="pieces that were taken",
    on_the_books="pieces that the records had then",
    plan_id="id of the plan",
    pieces_cut="pieces of the step that were cut",
    pieces_planned="pieces of the step that the plan has",
    makers="steps that make the pieces of the step, of which nothing is logged",
    noted_at="when it was noticed, by the centre's clock",
    settled_at="when it was settled; null: it is open",
    settled_by="name of the token that settled it",
    words="how it was settled, in words",
    counted="pieces that were counted on the rack; null: not counted",
)
class DiscrepancySchema(Schema):
    """What does not add up, and how a person settled it. What a kind has nothing to say of is null.

    stock short: more was `taken` than was `on_the_books`. size differs: what was taken is not as its
    record has it. no record: `taken` were put back by a withdrawal, and no record has their name.
    counted since: `taken` (below nothing: stored) before the rack was last counted, told of only
    afterwards, and moved from what was `on_the_books`; the count may have had it already. step over: more
    pieces of a step were cut than the plan has, by these `events`. maker missing: a day later nothing is
    logged of `makers`, the steps that make its pieces. plan differs: an entry says that the step has other
    pieces than the plan, or than the entries before it, say; the plan holds, else the least.
    """

    id = fields.Integer(required=True)
    event_id = fields.String(required=True)
    kind = fields.String(
        required=True,
        validate=validate.OneOf(
            (
                "stock short",
                "size differs",
                "no record",
                "counted since",
                "step over",
                "maker missing",
                "plan differs",
            )
        ),
    )
    site = fields.String(required=True)
    ref = fields.String(required=True, allow_none=True)
    material = fields.String(required=True)
    taken = fields.Integer(required=True, allow_none=True)
    on_the_books = fields.Integer(required=True, allow_none=True)
    differs = fields.Dict(
        required=True,
        allow_none=True,
        metadata={
            "description": "by length_mm, width_mm, thickness_mm, material: "
            "what was `taken` and what the `record` has; by step_pieces: those that the entry has "
            "(`taken`) and those of the plan or of others (`record`)"
        },
    )
    plan_id = fields.String(required=True, allow_none=True)
    step = fields.Integer(
        required=True,
        allow_none=True,
        metadata={"description": "below 0: minus the number of a layout whose sheets are parts as they are"},
    )
    pieces_cut = fields.Integer(required=True, allow_none=True)
    pieces_planned = fields.Integer(required=True, allow_none=True)
    makers = fields.List(fields.Integer(), required=True, allow_none=True)
    events = fields.List(
        fields.Nested(StepEventSchema),
        required=True,
        metadata={"description": "events that count pieces of the step now"},
    )
    noted_at = fields.AwareDateTime(required=True)
    settled_at = fields.AwareDateTime(required=True, allow_none=True)
    settled_by = fields.String(required=True, allow_none=True)
    words = fields.String(required=True, allow_none=True)
    counted = fields.Integer(required=True, allow_none=True)


@says(
    words="how it is settled, in words",
)
class SettleSchema(Document):
    """How a discrepancy is settled: in words, and with the pieces that were counted on the rack."""

    words = Text(required=True, most=500)
    counted = JsonInt(
        load_default=None,
        allow_none=True,
        validate=between(0, 1_000_000),
        metadata={"description": "pieces there now; left out: the books stay as they are"},
    )


@says()
class HeatQuerySchema(Document):
    """Which page of the events of a heat."""

    cursor = Text(load_default=None, metadata={"description": "`next` of the page before"})
    limit = JsonInt(load_default=100, validate=between(1, MOST_LISTED))


@says(
    ref="name of the part",
    length_mm="length",
    width_mm="width",
    quantity="parts cut, without those that were spoiled since",
    mass_kg="mass of all of them together",
    first_at="when the first were cut",
    last_at="when the last were cut",
)
class HeatPartSchema(Schema):
    """Parts of one kind that were cut from a heat."""

    site = fields.String(required=True)
    order_ref = fields.String(required=True, allow_none=True)
    ref = fields.String(required=True)
    material = fields.String(required=True)
    thickness_mm = fields.Float(required=True)
    length_mm = fields.Float(required=True)
    width_mm = fields.Float(required=True)
    quantity = fields.Integer(required=True)
    mass_kg = fields.Float(required=True)
    first_at = fields.AwareDateTime(required=True)
    last_at = fields.AwareDateTime(required=True)


@says(
    ref="name of the offcut on the rack",
    from_stock="name of the stock that it was cut from",
    length_mm="length",
    width_mm="width",
    quantity="offcuts stored",
    mass_kg="mass of all of them together",
)
class HeatOffcutSchema(Schema):
    """Offcuts of one kind that were put on the rack from a heat."""

    site = fields.String(required=True)
    ref = fields.String(required=True)
    from_stock = fields.String(required=True, allow_none=True)
    material = fields.String(required=True)
    thickness_mm = fields.Float(required=True)
    length_mm = fields.Float(required=True)
    width_mm = fields.Float(required=True)
    quantity = fields.Integer(required=True)
    mass_kg = fields.Float(required=True)


@says(
    at="when it happened",
    payload="what was told, as it came",
)
class HeatEventSchema(Schema):
    """An event that is about a heat."""

    event_id = fields.String(required=True)
    station = fields.String(required=True)
    site = fields.String(required=True)
    type = fields.String(required=True)
    at = fields.AwareDateTime(required=True)
    payload = fields.Dict(required=True)


@says(
    heat="the heat number asked for",
    parts="parts that were cut from it, in sums over all events",
    offcuts="offcuts that were put on the rack from it",
    stock="stock of it that is on the rack now",
    scrap_kg="mass of its scrap",
    events="events about it, one page",
)
class HeatSchema(Schema):
    """Where a heat went: parts and offcuts in sums over all events, stock that is there, and the events."""

    heat = fields.String(required=True)
    parts = fields.List(fields.Nested(HeatPartSchema), required=True)
    offcuts = fields.List(fields.Nested(HeatOffcutSchema), required=True)
    stock = fields.List(fields.Dict(), required=True)
    scrap_kg = fields.Float(required=True)
    events = fields.List(fields.Nested(HeatEventSchema), required=True)
    next = fields.String(metadata={"description": "cursor of the next page of events"})


@says(
    id="number of the entry",
    stale="true: a write that was based on an older revision, and never stood",
    written_by="name of the token that wrote it",
    written_at="when, by the centre's clock",
    document="the record as it was written",
)
class VersionSchema(Schema):
    """A revision that stood once, or a stale write that never stood (`stale`)."""

    id = fields.Integer(required=True)
    revision = fields.Integer(
        required=True,
        metadata={"description": "its number; of a stale write the one that it was based on"},
    )
    stale = fields.Boolean(required=True)
    written_by = fields.String(required=True)
    written_at = fields.AwareDateTime(required=True)
    document = fields.Dict(required=True)
