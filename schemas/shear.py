"""Questions about the shear itself: its gauge by measured parts, its profile, and a shop's own grades."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, ValidationError, fields, validates_schema

from schemas.fields import Choice, Document, Inner, JsonNumber, Many, Size, Text, between
from schemas.findings import FindingSchema
from schemas.orders import MachineField
from schemas.records import MaterialSchema
from schemas.words import says


@says(
    gauge="value that the back gauge was set to",
    measured="depth of the drop as measured",
)
class MeasuredSchema(Document):
    """A part that was measured, and what the gauge was set to for it."""

    gauge = Size(required=True)
    measured = Size(required=True)


@says(
    machine="id of a known machine, or a whole machine profile",
    parts="the parts that were measured",
    minus="tolerance below the gauge value, a positive number; with `plus`",
    plus="tolerance above the gauge value, a positive number; with `minus`",
    confidence="confidence of the interval, as a fraction",
)
class GaugeQuestionSchema(Document):
    """Whether to correct the back gauge, by measured parts."""

    machine = MachineField(required=True)
    units = Choice("mm", "in", load_default="mm")
    parts = Many(Inner(MeasuredSchema), required=True, least=1, most=10_000)
    minus = Size(load_default=None, allow_none=True, zero_ok=True)
    plus = Size(load_default=None, allow_none=True, zero_ok=True)
    confidence = JsonNumber(load_default=0.95, validate=between(0.5, 0.9999))

    @validates_schema
    def _both_limits(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        minus, plus = data.get("minus"), data.get("plus")
        if (minus is None) != (plus is None):
            raise ValidationError("minus and plus go together", "plus" if plus is None else "minus")
        if minus is not None and minus == plus == 0:
            raise ValidationError("minus and plus are both 0: that leaves no tolerance", "plus")


@says(
    count="parts that were measured",
    spread_mm="standard deviation of the parts; null: one part",
    confidence="confidence of the interval, as a fraction",
    low_mm="lower end of the interval of the mean; null: one part",
    high_mm="upper end of the interval of the mean; null: one part",
    advice="correct the gauge, leave it, measure more, or look first: it is not the zero",
    slope_mm_m="mm a metre by which the offset grows with the gauge value; null: cannot be told",
    slope_half_mm_m="the ± of that with the same confidence",
    why="why, in words",
    cp="spread against the tolerance; null: not known",
    cpk="spread and place against the tolerance; null: not known",
    cpk_after="the same after the correction; null: not known",
)
class GaugeAnswerSchema(Schema):
    """What the measured parts say. Lengths in mm; null where one part, or no tolerance, was given."""

    count = fields.Integer(required=True)
    mean_mm = fields.Float(required=True, metadata={"description": "above 0: parts come out too deep"})
    spread_mm = fields.Float(required=True, allow_none=True)
    confidence = fields.Float(required=True)
    low_mm = fields.Float(required=True, allow_none=True)
    high_mm = fields.Float(required=True, allow_none=True)
    correction_mm = fields.Function(
        lambda said: said.correction / 100,
        required=True,
        metadata={"description": "to add to the gauge", "type": "number"},
    )
    correction_in = fields.Function(
        lambda said: round(said.correction / 2540, 5),
        required=True,
        metadata={"description": "the same in inches", "type": "number"},
    )
    advice = fields.String(required=True)
    why = fields.String(required=True)
    slope_mm_m = fields.Float(required=True, allow_none=True)
    slope_half_mm_m = fields.Float(required=True, allow_none=True)
    cp = fields.Float(required=True, allow_none=True)
    cpk = fields.Float(required=True, allow_none=True)
    cpk_after = fields.Float(required=True, allow_none=True)
    findings = fields.List(fields.Nested(FindingSchema), required=True)


@says(
    machine="id of a known machine, or a whole machine profile",
    materials="grades to be looked over, as they would be kept",
)
class ProfileQuestionSchema(Document):
    """A machine profile, grades, or both, to be looked over before they are kept."""

    machine = MachineField(load_default=None, allow_none=True)
    materials = Many(Inner(MaterialSchema), load_default=list, most=500)
    grades = Many(
        Text(most=60), load_default=list, most=200, metadata={"description": "grades known here, by name"}
    )

    @validates_schema
    def _something(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        if data.get("machine") is None and not data.get("materials") and not data.get("grades"):
            raise ValidationError("a machine, materials or grades are wanted", "machine")


@says(
    name="name of the figure",
    value="the figure with its unit, in words",
    basis="range, minimum, typical or shop default",
    source="where it comes from",
)
class PropertySchema(Schema):
    """A figure of a grade: in words, what it is (range, minimum, typical, shop default), its source."""

    name = fields.String(required=True)
    value = fields.String(required=True)
    basis = fields.String(required=True)
    source = fields.String(required=True)


@says(
    pointer="JSON Pointer to the figure",
    message="what is wrong with it",
)
class SlipSchema(Schema):
    """What would be refused, and where."""

    pointer = fields.String(required=True)
    message = fields.String(required=True)


@says(
    name="id of the machine, or name of the grade",
    refusals="what the service would refuse",
    findings="what is doubtful, and kept all the same",
    properties="of a grade: each figure with its source",
)
class LookedOverSchema(Schema):
    """What is said of a profile or a grade, and where each figure of a grade comes from."""

    name = fields.String(required=True)
    refusals = fields.List(fields.Nested(SlipSchema), required=True)
    findings = fields.List(fields.Nested(FindingSchema), required=True)
    properties = fields.List(fields.Nested(PropertySchema), required=True)


@says(
    ok="whether nothing would be refused",
    machine="what is said of the machine; null: none was asked about",
    materials="what is said of each grade",
)
class ProfileAnswerSchema(Schema):
    """`ok`: nothing would be refused."""

    ok = fields.Boolean(required=True)
    machine = fields.Nested(LookedOverSchema, required=True, allow_none=True)
    materials = fields.List(fields.Nested(LookedOverSchema), required=True)
