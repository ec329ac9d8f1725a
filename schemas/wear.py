"""Questions about the wear of an edge on the wire, and their answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, fields, validates_schema

from schemas.fields import (
    Choice,
    Document,
    Inner,
    JsonInt,
    JsonNumber,
    Many,
    Millimetres,
    Size,
    Text,
    Thickness,
    between,
    positive,
)
from schemas.findings import FindingSchema
from schemas.orders import MachineField
from schemas.payloads import measured_something
from schemas.records import MaterialSchema
from schemas.words import says
from service.engine.wear.seen import LEAST_RADIUS_UM, MOST_RADIUS_UM


@says(
    strokes="equal strokes made",
    start="where the cut begins along the blade, from the squaring arm",
)
class WearCutSchema(Document):
    """Equal strokes made with one edge; `start` counts from the squaring arm."""

    material = Text(required=True, most=60)
    thickness = Thickness(required=True)
    cut_length = Size(required=True)
    strokes = JsonInt(required=True, validate=between(1, 100_000_000))
    start = Size(load_default=0, zero_ok=True)


@says(
    radius_um="radius of the edge",
    burr_mm="height of the burr that it leaves",
    thickness="thickness of the sheet that has the burr",
    place="place along the blade, from the squaring arm; left out: the most worn one",
    blade="upper or lower; left out: not said",
    share_of_cuts="how much of the cuts had been made by then, as a fraction; 1: all of them",
)
class EdgeMeasurementSchema(Document):
    """An edge measured: its radius, or the burr it leaves on sheet of a thickness, or both.

    ``share_of_cuts``: how much of the cuts told had been made by then; 1: it was measured after them.
    """

    radius_um = JsonNumber(
        load_default=None, allow_none=True, validate=between(LEAST_RADIUS_UM, MOST_RADIUS_UM)
    )
    burr_mm = JsonNumber(load_default=None, allow_none=True, validate=between(0, 100))
    thickness = Thickness(load_default=None, allow_none=True)
    place = Size(load_default=None, allow_none=True, zero_ok=True)
    blade = Choice("upper", "lower", load_default=None, allow_none=True)
    share_of_cuts = JsonNumber(load_default=1.0, validate=between(0, 1))

    @validates_schema
    def _something(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        measured_something(data, "thickness")


@says(
    set_price="price of a set of upper and lower blade, in the shop's money",
    regrind_price="price of a regrind, in the shop's money",
    regrinds="how many regrinds a set stands",
)
class BladePricesSchema(Document):
    """What a set of blades costs, upper and lower together, in the shop's money."""

    set_price = JsonNumber(required=True, validate=between(0, 1e9))
    regrind_price = JsonNumber(load_default=0.0, validate=between(0, 1e9))
    regrinds = JsonInt(load_default=0, validate=between(0, 1000))


@says(
    machine="id of a known machine, or a whole machine profile",
    cuts="everything that was cut with the edge since it was fresh",
    days="working days over which the present rate was observed [working days]",
    edges_unused="edges of the blade that are still fresh; left out: all but the one at work",
    edge_life_m="metres of the rated plate that an edge lasts; left out: the machine profile's",
    prices="what a set of blades costs; left out: no cost is reckoned",
    today="the day to count from; left out: no date is named",
)
class WearQuestionSchema(Document):
    """What was cut with the edge in use, and over how many working days the rate was observed."""

    machine = MachineField(required=True)
    units = Choice("mm", "in", load_default="mm")
    gauge_table = Choice("steel", "galvanised", "stainless", "aluminium", load_default=None, allow_none=True)
    materials = Many(Inner(MaterialSchema), load_default=list, most=500)
    cuts = Many(Inner(WearCutSchema), required=True, most=20_000)
    recent = Many(
        Inner(WearCutSchema),
        load_default=None,
        allow_none=True,
        most=20_000,
        metadata={"description": "those of the observed days; left out: all the cuts"},
    )
    days = JsonNumber(required=True, validate=positive(most=100_000))
    edges_unused = JsonInt(load_default=None, allow_none=True, validate=between(0, 3))
    edge_life_m = JsonNumber(load_default=None, allow_none=True, validate=positive(most=1e9))
    measurements = Many(
        Inner(EdgeMeasurementSchema),
        load_default=list,
        most=1000,
        metadata={"description": "of this edge; each narrows the forecast"},
    )
    prices = Inner(BladePricesSchema, load_default=None, allow_none=True)
    today = fields.Date(load_default=None, allow_none=True, error_messages={"invalid": "a date is wanted"})


@says(
    mean="true wear over wear by the set life; 1 before any measurement",
    low="lower end of its interval",
    high="upper end of its interval",
    measurements="how many measurements it rests on",
    half="which blade, upper or lower, wears faster; null: not known",
)
class EdgeRateSchema(Schema):
    """True wear over the wear by the set life, with its interval; 1 before measurements."""

    mean = fields.Float(required=True)
    low = fields.Float(required=True)
    high = fields.Float(required=True)
    measurements = fields.Integer(required=True)
    half = fields.String(required=True, allow_none=True, data_key="blade")


@says(
    shift="how far half of the work is moved along the blade",
    gain="how many times as long a fresh edge lasts then",
)
class SpreadSchema(Schema):
    """Half of the work moved by so much along the blade, and how many times as long a fresh edge lasts."""

    shift = Millimetres(required=True, data_key="shift_mm", zero_ok=True)
    gain = fields.Float(required=True)


@says(
    expected_mm="height of the burr to be expected",
    limit_mm="height at which a burr is too high",
)
class TypicalBurrSchema(Schema):
    """A burr that is typical for the edge as it is now, on what was cut with it."""

    material = fields.String(required=True)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    expected_mm = fields.Float(required=True)
    limit_mm = fields.Float(required=True)


@says(
    start="where the stretch begins, from the squaring arm",
    end="where it ends, from the squaring arm",
    passes="how often the rated plate would have passed over it",
)
class BandSchema(Schema):
    """A stretch of the edge that wore alike; `passes` in passes of the rated plate."""

    start = Millimetres(required=True, data_key="start_mm")
    end = Millimetres(required=True, data_key="end_mm")
    passes = fields.Float(required=True)


@says(
    metres="metres cut",
    equivalent_metres="the same in metres of the rated plate",
    bands="the edge from the squaring arm to its other end, by how it wore",
)
class EdgeUseSchema(Schema):
    """What an edge has been used for."""

    metres = fields.Float(required=True)
    equivalent_metres = fields.Float(required=True)
    bands = fields.List(fields.Nested(BandSchema), required=True)


@says(
    days="working days of the past that the present rate is taken from [working days]",
)
class BladeWearQuerySchema(Document):
    """How much of the past the present rate is taken from, in working days; and the day to count from."""

    days = JsonInt(load_default=20, validate=between(1, 1000))


@says(
    use="what the edge was used for",
    share_used="share of its life used at the worst place, as a fraction; above 1: overdue",
    mean_share="the same on average along the blade",
    worst_start="where the worst place begins, from the squaring arm",
    worst_end="where it ends, from the squaring arm",
    share_per_day="share of its life used in a working day at the present rate",
    days_left="until it wants turning [working days]; null: nothing is cut",
    days_left_low="the same for the shorter life of the interval [working days]",
    days_left_high="the same for the longer life of the interval [working days]; null: it cannot be told",
    turn_on="the day on which it wants turning; null: none is near enough to name",
    blade_days_left=(
        "until every edge that is still fresh is worn as well [working days]; null: nothing is cut"
    ),
    rate="how much faster it wears than its set life says",
    spread="what moving the work along the blade would gain",
    burrs="typical burrs of the edge as it is now",
)
class WearAnswerSchema(Schema):
    """How an edge stands and when it wants turning; low and high for a shorter and a longer life."""

    use = fields.Nested(EdgeUseSchema, required=True)
    share_used = fields.Float(required=True)
    mean_share = fields.Float(required=True)
    worst_start = Millimetres(required=True, data_key="worst_start_mm")
    worst_end = Millimetres(required=True, data_key="worst_end_mm")
    share_per_day = fields.Float(required=True)
    days_left = fields.Float(required=True, allow_none=True)
    days_left_low = fields.Float(required=True, allow_none=True)
    days_left_high = fields.Float(required=True, allow_none=True)
    turn_on = fields.Date(required=True, allow_none=True)
    blade_days_left = fields.Float(required=True, allow_none=True)
    rate = fields.Nested(EdgeRateSchema, required=True)
    spread = fields.Nested(SpreadSchema, required=True)
    burrs = fields.List(fields.Nested(TypicalBurrSchema), required=True)
    cost_per_metre = fields.Float(
        required=True,
        allow_none=True,
        metadata={"description": "of the rated plate, in the shop's money; null when no prices are known"},
    )
    findings = fields.List(fields.Nested(FindingSchema), required=True)
