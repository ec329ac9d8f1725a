"""Questions about single cuts, and their answers: force, capacity, settings, programs, wear."""

from __future__ import annotations

from marshmallow import Schema, fields

from schemas.events import GaugeStepSchema
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
    drop_depth = Size(load_default=None, allow_none=True)
    remainder_depth = Size(load_default=None, allow_none=True)
    gauging = Choice("back gauge", "front stop", "marked line", load_default="back gauge")
    pieces_side_by_side = JsonInt(load_default=1, validate=between(1, 1000))


class MethodForceSchema(Schema):
    """Force by one method."""

    name = fields.String(required=True)
    force_kn = fields.Float(required=True)
    source = fields.String(required=True)


class ForceAnswerSchema(Schema):
    """What a cut asks of the machine, and what the machine gives."""

    force_kn = fields.Float(required=True)
    method = fields.String(required=True)
    by_method = fields.List(fields.Nested(MethodForceSchema), required=True)
    rake_deg = fields.Float(required=True)
    engaged_mm = fields.Float(required=True)
    equivalent_thickness_mm = fields.Float(required=True)
    rating_share = fields.Float(required=True)
    limit_kn = fields.Float(required=True)
    limit_basis = fields.String(required=True)
    work_j = fields.Float(required=True)
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
        metadata={"description": "left out: ten lengths up to the cutting length"},
    )


class CapacitySchema(Schema):
    """The largest thickness of a material at a cut length; 0 where it cannot be cut."""

    grade = fields.String(required=True)
    cut_length = Millimetres(required=True, data_key="cut_length_mm")
    thickness = Millimetres(required=True, data_key="thickness_mm", zero_ok=True)
    governed_by = fields.String(required=True)


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
