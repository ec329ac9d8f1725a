"""Questions about single cuts, and their answers: force, capacity, settings, programs, wear."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, fields, validates_schema

from schemas.events import GaugeStepSchema, measured_something
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
from schemas.orders import MachineField
from schemas.plans import FindingSchema, SettingsSchema
from schemas.records import MaterialSchema


class CutQuestionSchema(Document):
    """A cut: a known machine or a whole profile, a material, and sizes in `units`."""

    machine = MachineField(required=True)
    units = Choice("mm", "in", load_default="mm")
    gauge_table = Choice("steel", "galvanised", "stainless", "aluminium", load_default=None, allow_none=True)
    materials = Many(
        Inner(MaterialSchema),
        load_default=list,
        most=500,
        metadata={"description": "grades that are not known here, or that win over those that are"},
    )
    material = Text(required=True, most=60)
    thickness = Thickness(required=True)
    cut_length = Size(required=True)


class ForceQuestionSchema(CutQuestionSchema):
    """The tonnage check of one cut. With `drop_depth` every other limit of the cut is checked too."""

    rake_deg = JsonNumber(load_default=None, allow_none=True, validate=between(0, 15))
    tensile_strength_n_mm2 = JsonNumber(
        load_default=None,
        allow_none=True,
        validate=positive(most=5000),
        metadata={"description": "by the inspection certificate of this very sheet; goes with `certificate`"},
    )
    certificate = Text(load_default=None, allow_none=True, most=60)
    dulled_allowance = JsonNumber(
        load_default=None,
        allow_none=True,
        validate=between(0, 2),
        metadata={"description": "for dulled edges, over sharp ones; left out: the machine profile's"},
    )
    drop_depth = Size(load_default=None, allow_none=True)
    remainder_depth = Size(load_default=None, allow_none=True)
    gauging = Choice("back gauge", "front stop", "marked line", load_default="back gauge")
    pieces_side_by_side = JsonInt(load_default=1, validate=between(1, 1000))


class MethodForceSchema(Schema):
    """Force by one method."""

    name = fields.String(required=True)
    force_kn = fields.Float(required=True)
    source = fields.String(required=True)
    sharp_kn = fields.Float(required=True, metadata={"description": "with sharp blades"})
    rules = fields.Boolean(required=True, metadata={"description": "whether the method may rule"})
    remark = fields.String(required=True)


class ForceAnswerSchema(Schema):
    """What a cut asks of the machine, and what the machine gives."""

    force_kn = fields.Float(required=True)
    method = fields.String(required=True)
    why = fields.String(required=True)
    sharp_kn = fields.Float(required=True)
    dulled_allowance = fields.Float(required=True)
    by_method = fields.List(fields.Nested(MethodForceSchema), required=True)
    spread = fields.Float(required=True)
    rake_deg = fields.Float(required=True)
    engaged_mm = fields.Float(required=True)
    strength = fields.Float(required=True, data_key="strength_n_mm2")
    strength_basis = fields.String(required=True)
    equivalent_thickness_mm = fields.Float(required=True)
    rating_share = fields.Float(required=True)
    limit_kn = fields.Float(required=True)
    force_share = fields.Float(required=True)
    limit_basis = fields.String(required=True)
    work_j = fields.Float(required=True)
    stroke_s = fields.Float(required=True)
    mean_power_kw = fields.Float(required=True)
    findings = fields.List(fields.Nested(FindingSchema), required=True)
    cautions = fields.List(fields.String(), required=True)


class CapacityQuestionSchema(Document):
    """What a machine can cut at most: of each material named, at each cut length named."""

    machine = MachineField(required=True)
    units = Choice("mm", "in", load_default="mm")
    materials = Many(Inner(MaterialSchema), load_default=list, most=500)
    grades = Many(
        Text(most=60),
        load_default=list,
        most=200,
        metadata={"description": "left out: every grade that is known"},
    )
    cut_lengths = Many(
        Size(),
        load_default=list,
        most=50,
        metadata={"description": "left out: a tenth, a quarter, a half and the whole cutting length"},
    )


class LimitThicknessSchema(Schema):
    """The largest thickness by one limit; null: it sets none. `counts`: whether it may govern."""

    name = fields.String(required=True)
    thickness = Millimetres(required=True, data_key="thickness_mm", allow_none=True, zero_ok=True)
    counts = fields.Boolean(required=True)


class CapacitySchema(Schema):
    """The largest thickness of a material at a cut length; 0 where it cannot be cut."""

    grade = fields.String(required=True)
    cut_length = Millimetres(required=True, data_key="cut_length_mm")
    thickness = Millimetres(required=True, data_key="thickness_mm", zero_ok=True)
    governed_by = fields.String(required=True)
    equivalent_thickness_mm = fields.Float(required=True)
    force_kn = fields.Float(required=True)
    rake_deg = fields.Float(required=True)
    limits = fields.List(fields.Nested(LimitThicknessSchema), required=True)


class CapacityAnswerSchema(Schema):
    """A table, and a curve for each material when its rows are read in order."""

    rows = fields.List(fields.Nested(CapacitySchema), required=True)
    cautions = fields.List(fields.String(), required=True)


class SettingsQuestionSchema(CutQuestionSchema):
    """What to set the machine to for a cut."""

    drop_depth = Size(required=True)
    measured_offset_mm = JsonNumber(
        load_default=0,
        validate=between(-10, 10),
        metadata={"description": "by how much drops come out deeper than the gauge was set"},
    )
    trim = fields.Boolean(load_default=False, truthy={True}, falsy={False})
    gauging = Choice("back gauge", "front stop", "marked line", load_default="back gauge")


class SettingsAnswerSchema(SettingsSchema):
    """Settings of a cut, each with its basis."""

    cautions = fields.List(fields.String(), required=True)


class ProgramQuestionSchema(CutQuestionSchema):
    """A hand-written list of gauge steps; `depth` is the depth of the piece, when it is known."""

    depth = Size(load_default=None, allow_none=True)
    steps = Many(Inner(GaugeStepSchema), required=True, least=1, most=1000)


class CheckedStepSchema(Schema):
    """A step with its settings, and what is to be said about it."""

    number = fields.Integer(required=True, data_key="step")
    gauge = Millimetres(required=True, data_key="gauge_mm")
    repeat = fields.Integer(required=True)
    gauging = fields.String(required=True)
    depth_before = Millimetres(required=True, data_key="depth_before_mm", allow_none=True)
    depth_after = Millimetres(required=True, data_key="depth_after_mm", allow_none=True)
    force_kn = fields.Float(required=True)
    settings = fields.Nested(SettingsSchema, required=True)
    findings = fields.List(fields.Nested(FindingSchema), required=True)


class ProgramAnswerSchema(Schema):
    """A checked and timed program. `ok` means that no finding is a stop; it permits nothing."""

    ok = fields.Boolean(required=True)
    strokes = fields.Integer(required=True)
    gauge_moves = fields.Integer(required=True)
    settings_changes = fields.Integer(required=True)
    minutes = fields.Float(required=True)
    needed_depth = Millimetres(required=True, data_key="needed_depth_mm")
    rating_needed_mm = fields.Float(required=True)
    steps = fields.List(fields.Nested(CheckedStepSchema), required=True)
    cautions = fields.List(fields.String(), required=True)


class WearCutSchema(Document):
    """Equal strokes made with one edge; `start` counts from the squaring arm."""

    material = Text(required=True, most=60)
    thickness = Thickness(required=True)
    cut_length = Size(required=True)
    strokes = JsonInt(required=True, validate=between(1, 100_000_000))
    start = Size(load_default=0, zero_ok=True)


class EdgeMeasurementSchema(Document):
    """An edge measured: its radius, or the burr it leaves on sheet of a thickness, or both.

    ``share_of_cuts``: how much of the cuts told had been made by then; 1: it was measured after them.
    """

    radius_um = JsonNumber(load_default=None, allow_none=True, validate=positive(most=1e5))
    burr_mm = JsonNumber(load_default=None, allow_none=True, validate=between(0, 100))
    thickness = Thickness(load_default=None, allow_none=True)
    place = Size(load_default=None, allow_none=True, zero_ok=True)
    blade = Choice("upper", "lower", load_default=None, allow_none=True)
    share_of_cuts = JsonNumber(load_default=1.0, validate=between(0, 1))

    @validates_schema
    def _something(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        measured_something(data, "thickness")


class BladePricesSchema(Document):
    """What a set of blades costs, upper and lower together, in the shop's money."""

    set_price = JsonNumber(required=True, validate=between(0, 1e9))
    regrind_price = JsonNumber(load_default=0.0, validate=between(0, 1e9))
    regrinds = JsonInt(load_default=0, validate=between(0, 1000))


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


class EdgeRateSchema(Schema):
    """True wear over the wear by the set life, with its interval; 1 before measurements."""

    mean = fields.Float(required=True)
    low = fields.Float(required=True)
    high = fields.Float(required=True)
    measurements = fields.Integer(required=True)
    half = fields.String(required=True, allow_none=True, data_key="blade")


class SpreadSchema(Schema):
    """Half of the work moved by so much along the blade, and how many times as long a fresh edge lasts."""

    shift = Millimetres(required=True, data_key="shift_mm", zero_ok=True)
    gain = fields.Float(required=True)


class TypicalBurrSchema(Schema):
    """A burr that is typical for the edge as it is now, on what was cut with it."""

    material = fields.String(required=True)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    expected_mm = fields.Float(required=True)
    limit_mm = fields.Float(required=True)


class BandSchema(Schema):
    """A stretch of the edge that wore alike; `passes` in passes of the rated plate."""

    start = Millimetres(required=True, data_key="start_mm")
    end = Millimetres(required=True, data_key="end_mm")
    passes = fields.Float(required=True)


class EdgeUseSchema(Schema):
    """What an edge has been used for."""

    metres = fields.Float(required=True)
    equivalent_metres = fields.Float(required=True)
    bands = fields.List(fields.Nested(BandSchema), required=True)


class BladeWearQuerySchema(Document):
    """How much of the past the present rate is taken from, in working days; and the day to count from."""

    days = JsonInt(load_default=20, validate=between(1, 1000))


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
