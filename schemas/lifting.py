"""The optional check of a lift by hand, and its answer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, ValidationError, fields, validates_schema

from schemas.fields import Choice, Document, Inner, JsonNumber, Many, Size, Text, Thickness, between, positive
from schemas.findings import FindingSchema
from schemas.records import MaterialSchema
from schemas.words import says


@says(
    length="length of the piece",
    width="width of the piece",
)
class LiftedPieceSchema(Document):
    """A flat piece; carried with its width before the body unless `horizontal_cm` is given."""

    material = Text(required=True, most=60)
    thickness = Thickness(required=True)
    length = Size(required=True)
    width = Size(required=True)


@says(
    mass_kg="mass that is lifted; or give `piece`",
    piece="a flat piece by its sizes; or give `mass_kg`",
    vertical_cm="hands above the floor where the lift begins",
    distance_cm="lifted up or down by so much",
    turned_deg="turned to the side",
    lifts_per_minute="lifts a minute [1/min]",
    duration="how long at a time",
    hold="how well it can be held; a bare sheet edge is poor",
)
class LiftQuestionSchema(Document):
    """One person lifting with two hands: a mass, or a piece by its sizes, and how it is lifted."""

    units = Choice("mm", "in", load_default="mm")
    gauge_table = Choice("steel", "galvanised", "stainless", "aluminium", load_default=None, allow_none=True)
    materials = Many(Inner(MaterialSchema), load_default=list, most=500)
    mass_kg = JsonNumber(load_default=None, allow_none=True, validate=positive(most=1e6))
    piece = Inner(LiftedPieceSchema, load_default=None, allow_none=True)
    horizontal_cm = JsonNumber(
        load_default=None,
        allow_none=True,
        validate=between(0, 1000),
        metadata={"description": "hands before the ankles; left out: by the width of the piece"},
    )
    vertical_cm = JsonNumber(load_default=75.0, validate=between(0, 1000))
    distance_cm = JsonNumber(load_default=25.0, validate=between(0, 1000))
    turned_deg = JsonNumber(load_default=0.0, validate=between(0, 180))
    lifts_per_minute = JsonNumber(load_default=0.2, validate=between(0, 1000))
    duration = Choice("1 hour", "2 hours", "8 hours", load_default="1 hour")
    hold = Choice("good", "fair", "poor", load_default="poor")

    @validates_schema
    def _one_mass(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        if (data.get("mass_kg") is None) == (data.get("piece") is None):
            raise ValidationError("either mass_kg or a piece is wanted", "mass_kg")
        if data.get("piece") is None and data.get("horizontal_cm") is None:
            raise ValidationError("how far the hands are before the ankles is wanted", "horizontal_cm")


@says(
    mass_kg="mass that was reckoned with",
    horizontal_cm="hands before the ankles that was reckoned with",
    limit_kg="recommended weight limit of the lift",
    multipliers="the multipliers of the equation, by name",
)
class LiftAnswerSchema(Schema):
    """A mass against the recommended limit of the lift; it permits nothing."""

    mass_kg = fields.Float(required=True)
    horizontal_cm = fields.Float(required=True)
    limit_kg = fields.Float(required=True)
    index = fields.Float(
        required=True,
        allow_none=True,
        metadata={"description": "mass over limit; null where the equation does not allow for the lift"},
    )
    multipliers = fields.Dict(keys=fields.String(), values=fields.Float(), required=True)
    findings = fields.List(fields.Nested(FindingSchema), required=True)
