"""Questions about single cuts, and their answers: force, capacity, settings, programs."""

from __future__ import annotations

from marshmallow import Schema, fields

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
from schemas.payloads import GaugeStepSchema
from schemas.records import MaterialSchema
from schemas.steps import SettingsSchema
from schemas.words import says


@says(
    machine="id of a known machine, or a whole machine profile",
)
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


@says(
    rake_deg="rake to reckon with; left out: the smallest within the force limit",
    certificate="number of the inspection certificate that states the strength",
    drop_depth="depth of what falls behind the blade; given, every other limit of the cut is checked too",
    remainder_depth="depth of what stays in front, under the hold-down",
    pieces_side_by_side="equal pieces that share the stroke",
)
class ForceQuestionSchema(CutQuestionSchema):
    """The tonnage check of one cut, and of every other limit of it that needs no more than is told.

    With `drop_depth` and `remainder_depth` the drop, the gauge and the clamping are checked too.
    """

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


@says(
    name="name of the method",
    force_kn="force by this method, with the allowance for dulled edges",
    source="where it was published",
    remark="what there is to know about the method",
)
class MethodForceSchema(Schema):
    """Force by one method."""

    name = fields.String(required=True)
    force_kn = fields.Float(required=True)
    source = fields.String(required=True)
    sharp_kn = fields.Float(
        required=True,
        metadata={
            "description": "with sharp blades; the mill shear's factor for the condition of the blades is "
            "never below 1.3, so up to an allowance of 0.3 its two figures are the same"
        },
    )
    rules = fields.Boolean(required=True, metadata={"description": "whether the method may rule"})
    remark = fields.String(required=True)


@says(
    force_kn="the force that rules, with the allowance for dulled edges",
    method="name of the method that rules",
    why="why it rules, in words",
    sharp_kn="force by the same method with sharp edges",
    dulled_allowance="force counted for dulled edges over that of sharp ones, as a fraction",
    by_method="the force by every method",
    spread="highest over lowest of the methods",
    rake_deg="rake that it was reckoned for",
    engaged_mm="length of blade that is in the material at one time",
    strength="tensile strength that was counted with",
    strength_basis="what that strength is",
    equivalent_thickness_mm="thickness of the rating's steel that counts as much",
    rating_share="that thickness over the rated one, as a fraction; above 1: over the rating",
    limit_kn="the force limit of the machine",
    force_share="force that counts over the limit, as a fraction",
    limit_basis="whether the limit is stated, or follows from the rating",
    work_j="work of the whole cut",
    stroke_s="time of a stroke, down and up",
    mean_power_kw="work over the time of the stroke",
)
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


@says(
    machine="id of a known machine, or a whole machine profile",
)
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


@says(
    name="name of the limit",
    thickness="largest thickness that it allows; null: it sets none",
    counts="whether it may govern",
)
class LimitThicknessSchema(Schema):
    """The largest thickness by one limit; null: it sets none. `counts`: whether it may govern."""

    name = fields.String(required=True)
    thickness = Millimetres(required=True, data_key="thickness_mm", allow_none=True, zero_ok=True)
    counts = fields.Boolean(required=True)


@says(
    thickness="largest thickness that can be cut; 0: none",
    governed_by="the limit that one hundredth more would pass",
    equivalent_thickness_mm="thickness of the rating's steel that counts as much",
    force_kn="force of that cut",
    rake_deg="rake of that cut",
    limits="the largest thickness by each limit alone",
)
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
    leave_needed = fields.Boolean(
        required=True,
        metadata={"description": "sheared only where the makers of the plate and of the machine allow it"},
    )


@says(
    rows="one row a material and cut length",
)
class CapacityAnswerSchema(Schema):
    """A table, and a curve for each material when its rows are read in order."""

    rows = fields.List(fields.Nested(CapacitySchema), required=True)
    cautions = fields.List(fields.String(), required=True)


@says(
    remainder_depth="depth of what stays in front, under the hold-down; left out: not known",
    drop_depth="depth of what falls behind the blade",
    trim="whether what falls is a trim",
)
class SettingsQuestionSchema(CutQuestionSchema):
    """What to set the machine to for a cut. A cut that is stopped gets no settings, but the reasons."""

    drop_depth = Size(required=True)
    remainder_depth = Size(load_default=None, allow_none=True)
    measured_offset_mm = JsonNumber(
        load_default=0,
        validate=between(-10, 10),
        metadata={"description": "by how much drops come out deeper than the gauge was set"},
    )
    trim = fields.Boolean(load_default=False, truthy={True}, falsy={False})
    gauging = Choice("back gauge", "front stop", "marked line", load_default="back gauge")


@says()
class SettingsAnswerSchema(SettingsSchema):
    """Settings of a cut, each with its basis."""

    cautions = fields.List(fields.String(), required=True)


@says(
    depth="depth of the piece before the first step; left out: not known",
)
class ProgramQuestionSchema(CutQuestionSchema):
    """A hand-written list of gauge steps; `depth` is the depth of the piece, when it is known."""

    depth = Size(load_default=None, allow_none=True)
    steps = Many(Inner(GaugeStepSchema), required=True, least=1, most=1000)


@says(
    number="number of the step, from 1",
    gauge="value to set",
    repeat="cuts at this value",
    depth_before="depth of the piece before the step; null: not known",
    depth_after="depth of what stays after it; null: not known",
    force_kn="force of one stroke",
    settings="what to set for it",
)
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


@says(
    ok="whether no finding is a stop; it permits nothing",
    strokes="strokes of the program",
    gauge_moves="changes of gauging or gauge value, the first setting included",
    settings_changes="changes of gap, rake or another setting",
    minutes="time that it takes, by the times of the machine profile",
    needed_depth="depth that the piece needs at least",
    rating_needed_mm="rated thickness that the machine needs at least",
    steps="the steps, checked",
)
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
