"""Machines, materials and stock on the wire."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from marshmallow import ValidationError, post_load, pre_load, validates_schema

from schemas.fields import (
    Choice,
    Inner,
    JsonBool,
    JsonInt,
    JsonNumber,
    Many,
    Millimetres,
    Record,
    Size,
    Text,
    Thickness,
    between,
)
from schemas.machines import MachineSchema, meant
from schemas.words import says
from service.engine.materials import Material, StrengthBand
from service.engine.order import StockItem
from service.engine.plausible import density_slip, modulus_slip, share_slip, strength_slip
from service.engine.quantities import mm, show_mm

__all__ = [
    "CUT_OVERSIZE",
    "MILL_OVERSIZE",
    "MachineSchema",
    "MaterialSchema",
    "StockSchema",
    "StrengthBandSchema",
]

MILL_OVERSIZE = mm(20)
"""EN 10051:1991, width of sheet with mill edges: +20 mm, never under."""
CUT_OVERSIZE = mm(0.5)
"""Shop default for a piece that was sheared before."""


def _elongation_slip(value: float) -> str | None:
    return share_slip(value, 0.005, "elongation")


def _gap_slip(value: float) -> str | None:
    return share_slip(value, 0, "blade gap")


@says(
    begins="thickness from which the range holds",
    rm_low="lowest tensile strength from there on",
    rm_high="highest tensile strength from there on",
)
class StrengthBandSchema(Record):
    """Tensile strength of sheet from a thickness upwards, up to where the next band begins."""

    makes = StrengthBand
    begins = Millimetres(required=True, data_key="begins_mm")
    rm_low = JsonNumber(required=True, validate=meant(strength_slip), data_key="rm_low_n_mm2")
    rm_high = JsonNumber(required=True, validate=meant(strength_slip), data_key="rm_high_n_mm2")


@says(
    family="family of the metal, such as carbon steel",
    rm_low="lowest tensile strength of the grade",
    rm_high="highest tensile strength of the grade; force is reckoned with it",
    strength_basis=(
        "whether the strengths are a range, a minimum with an allowance above it, or typical figures"
    ),
    density="density",
    youngs_modulus="modulus of elasticity",
    abrasiveness="how many times as fast it wears an edge as plain steel",
    shearable="false: it must not be put under a shear",
    source="where the figures come from",
)
class MaterialSchema(Record):
    """A grade: a built-in one, or the shop's own."""

    makes = Material
    grade = Text(required=True, most=60)
    family = Text(required=True, most=60)
    rm_low = JsonNumber(required=True, validate=meant(strength_slip), data_key="rm_low_n_mm2")
    rm_high = JsonNumber(required=True, validate=meant(strength_slip), data_key="rm_high_n_mm2")
    strength_basis = Choice("range", "minimum", "typical", load_default="range")
    elongation = JsonNumber(
        required=True,
        validate=meant(_elongation_slip),
        metadata={"description": "at fracture, as a fraction: 0.26 for 26 %"},
    )
    density = JsonNumber(required=True, validate=meant(density_slip), data_key="density_kg_m3")
    youngs_modulus = JsonNumber(required=True, validate=meant(modulus_slip), data_key="youngs_modulus_n_mm2")
    gap_share = Many(
        JsonNumber(validate=meant(_gap_slip)),
        required=True,
        least=2,
        most=2,
        metadata={"description": "usual blade gap as a share of thickness, from and to"},
    )
    abrasiveness = JsonNumber(load_default=1.0, validate=between(0.01, 100))
    shearable = JsonBool(load_default=True)
    source = Text(load_default="shop's own figures", most=500)
    bands = Many(
        Inner(StrengthBandSchema),
        load_default=list,
        most=1000,
        data_key="strength_bands",
        metadata={
            "description": "narrower ranges of strength by thickness, ascending, inside the range of the "
            "grade, which holds below the first; empty: it holds for every thickness"
        },
    )

    @validates_schema
    def _ordered(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        if data["rm_low"] > data["rm_high"]:
            raise ValidationError("rm_low_n_mm2 is above rm_high_n_mm2", "rm_low_n_mm2")
        if data["gap_share"][0] > data["gap_share"][1]:
            raise ValidationError("the first share is above the second", "gap_share")
        _ordered_bands(data["bands"], data["rm_low"], data["rm_high"])

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Material:
        return Material(**{**data, "gap_share": tuple(data["gap_share"]), "bands": tuple(data["bands"])})


def _ordered_bands(bands: list[StrengthBand], rm_low: float, rm_high: float) -> None:
    if any(one.begins >= after.begins for one, after in pairwise(bands)):
        raise ValidationError("the bands begin at ascending thicknesses", "strength_bands")
    for band in bands:
        if not rm_low <= band.rm_low <= band.rm_high <= rm_high:
            raise ValidationError(
                f"the band from {show_mm(band.begins)} mm is not from low to high inside the range of the "
                f"grade, {rm_low:g} to {rm_high:g} N/mm²",
                "strength_bands",
            )


@says(
    ref="name of the equal pieces on the rack",
    length="along the rolling direction",
    quantity="pieces that are there",
    kind="sheet or offcut",
    oversize="how much larger than its size a piece may be; it is never smaller",
    price=(
        "price of one piece, in the shop's money; null: not known, and nothing for an offcut where all "
        "sheets of its material and thickness have prices"
    ),
)
class StockSchema(Record):
    """Equal sheets or offcuts; ``length`` runs along the rolling direction.

    ``edges`` and ``oversize`` have defaults by kind: sheets come with mill edges and up to 20 mm
    over their nominal size, offcuts with cut edges and 0.5 mm.
    """

    makes = StockItem
    ref = Text(required=True, most=60)
    length = Size(required=True)
    width = Size(required=True)
    quantity = JsonInt(required=True, validate=between(0, 1_000_000))
    material = Text(required=True, most=60)
    thickness = Thickness(required=True)
    kind = Choice("sheet", "offcut", load_default="sheet")
    edges = Choice("mill", "cut")
    oversize = Size(zero_ok=True)
    price = JsonNumber(load_default=None, allow_none=True, validate=between(0, 1e9))
    heat = Text(load_default=None, allow_none=True, most=60)
    tensile_strength = JsonNumber(
        load_default=None,
        allow_none=True,
        validate=meant(strength_slip),
        data_key="tensile_strength_n_mm2",
        metadata={
            "description": "tensile strength that the inspection certificate of these very pieces states; "
            "a plan counts with it where every piece of the grade and thickness has one; goes with "
            "`certificate`"
        },
    )
    certificate = Text(
        load_default=None,
        allow_none=True,
        most=60,
        metadata={"description": "by what the inspection certificate is known, for example its number"},
    )

    @validates_schema
    def _certified(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        strength, certificate = data["tensile_strength"], data["certificate"]
        if (strength is None) != (certificate is None):
            lacking = "certificate" if certificate is None else "tensile_strength_n_mm2"
            raise ValidationError("a strength and the certificate that states it go together", lacking)

    @pre_load
    def _without_nulls(self, data: Any, **kwargs: Any) -> Any:
        if not isinstance(data, Mapping):
            return data
        return {k: v for k, v in data.items() if not (k in {"edges", "oversize"} and v is None)}

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> StockItem:
        edges = data.get("edges") or ("mill" if data["kind"] == "sheet" else "cut")
        oversize = data.get("oversize")
        if oversize is None:
            oversize = MILL_OVERSIZE if edges == "mill" else CUT_OVERSIZE
        return StockItem(**{**data, "edges": edges, "oversize": oversize})
