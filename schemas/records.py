"""Machines, materials and stock on the wire."""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
    positive,
)
from schemas.words import says
from service.engine.machine import (
    BackGauge,
    FrontStops,
    GapRange,
    GapRow,
    HoldDown,
    Lifting,
    Machine,
    Rake,
    Rating,
    TimeModel,
)
from service.engine.materials import Material, StrengthBand
from service.engine.order import StockItem
from service.engine.plausible import density_slip, modulus_slip, share_slip, strength_slip
from service.engine.quantities import mm, show_mm

MILL_OVERSIZE = mm(20)
"""EN 10051:1991, width of sheet with mill edges: +20 mm, never under."""
CUT_OVERSIZE = mm(0.5)
"""Shop default for a piece that was sheared before."""


def _unit(slip: Callable[[float], str | None]) -> Callable[[float], None]:
    """A validator that tells which unit a figure is in that cannot be meant."""

    def check(value: float) -> None:
        if (told := slip(value)) is not None:
            raise ValidationError(told)

    return check


@says(
    thickness="rated thickness of plain steel",
    rm="tensile strength that the rated thickness is stated for",
)
class RatingSchema(Record):
    """The maker's plate: thickness of plain steel of a named tensile strength."""

    makes = Rating
    thickness = Millimetres(required=True, data_key="thickness_mm")
    rm = JsonNumber(
        load_default=450.0, data_key="rm_n_mm2", validate=[_unit(strength_slip), between(50, 3000)]
    )


@says(
    low_deg="smallest rake that can be set",
    high_deg="largest rake that can be set",
    step_deg="steps in which it is set",
)
class RakeSchema(Record):
    """Slope between the blades; fixed when both ends are equal."""

    makes = Rake
    low_deg = JsonNumber(required=True, validate=between(0, 15))
    high_deg = JsonNumber(required=True, validate=between(0, 15))
    step_deg = JsonNumber(load_default=0.1, validate=between(0.001, 5))

    @validates_schema
    def _ordered(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        if data["low_deg"] > data["high_deg"]:
            raise ValidationError("low_deg is above high_deg", "low_deg")


@says(
    low="smallest gap that can be set",
    high="largest gap that can be set",
    step="steps in which it is set",
)
class GapRangeSchema(Record):
    """Blade gap that can be set."""

    makes = GapRange
    low = Millimetres(required=True, data_key="low_mm", zero_ok=True)
    high = Millimetres(required=True, data_key="high_mm")
    step = Millimetres(load_default=1, data_key="step_mm")

    @validates_schema
    def _ordered(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        if data["low"] > data["high"]:
            raise ValidationError("low_mm is above high_mm", "low_mm")


@says(
    rm="tensile strength of the steel that the line is for",
    thickness="thickness that the line is for",
    gap="blade gap to set",
)
class GapRowSchema(Record):
    """A line of the machine's own gap table: the gap for steel of a tensile strength and a thickness."""

    makes = GapRow
    rm = JsonNumber(required=True, data_key="rm_n_mm2", validate=between(5, 5000))
    thickness = Millimetres(required=True, data_key="thickness_mm")
    gap = Millimetres(required=True, data_key="gap_mm")


@says(
    low="smallest value that can be set",
    high="largest value that can be set",
    step="steps in which it is set",
    accuracy="± of the depth of a drop gauged with it",
    speed_mm_s="how fast it travels",
)
class BackGaugeSchema(Record):
    """Range, step, accuracy (± of a drop) and speed of the back gauge."""

    makes = BackGauge
    low = Millimetres(required=True, data_key="low_mm")
    high = Millimetres(required=True, data_key="high_mm")
    step = Millimetres(load_default=1, data_key="step_mm")
    accuracy = Millimetres(load_default=10, data_key="accuracy_mm", zero_ok=True)
    speed_mm_s = JsonNumber(load_default=100.0, validate=positive(most=10_000))

    @validates_schema
    def _ordered(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        if data["low"] > data["high"]:
            raise ValidationError("low_mm is above high_mm", "low_mm")


@says(
    low="smallest depth that they measure",
    high="largest depth that they measure",
    accuracy="± of the depth of a piece measured with them",
)
class FrontStopsSchema(Record):
    """Stops on the squaring arm, which measure the piece in front."""

    makes = FrontStops
    low = Millimetres(required=True, data_key="low_mm", zero_ok=True)
    high = Millimetres(required=True, data_key="high_mm")
    accuracy = Millimetres(load_default=50, data_key="accuracy_mm", zero_ok=True)

    @validates_schema
    def _ordered(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        if data["low"] > data["high"]:
            raise ValidationError("low_mm is above high_mm", "low_mm")


@says(
    depth="from the blade line to the far side of the feet: the least that must stay in front",
    feet="centres of the feet, counted from the squaring arm; empty: a bar clamps everywhere",
    foot_width="width of a foot along the blade",
    force_kn="force of all the feet together; null: not known",
    feet_first="centre of the first foot, from the squaring arm; with pitch and count in place of feet_mm",
    feet_pitch="from the centre of a foot to that of the next",
    feet_count="how many feet",
)
class HoldDownSchema(Record):
    """Clamping depth and feet: their centres from the squaring arm, or the first, a pitch and a count.

    Without feet the bar clamps everywhere.
    """

    makes = HoldDown
    depth = Millimetres(required=True, data_key="clamping_depth_mm", zero_ok=True)
    feet = Many(Millimetres(zero_ok=True), load_default=list, data_key="feet_mm", most=500)
    foot_width = Millimetres(load_default=0, data_key="foot_width_mm", zero_ok=True)
    force_kn = JsonNumber(load_default=None, allow_none=True, validate=positive(most=100_000))
    wanted_share = JsonNumber(
        load_default=None,
        allow_none=True,
        validate=between(0.01, 1),
        metadata={
            "description": "hold-down force wanted over shearing force, by the maker or the shop; "
            "stated here it limits the capacity"
        },
    )
    feet_first = Millimetres(load_only=True, data_key="feet_first_mm", zero_ok=True)
    feet_pitch = Millimetres(load_only=True, data_key="feet_pitch_mm")
    feet_count = JsonInt(load_only=True, validate=between(1, 500))

    @validates_schema
    def _one_way(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        by_pitch = [name for name in ("feet_first", "feet_pitch", "feet_count") if name in data]
        if by_pitch and data.get("feet"):
            raise ValidationError("give feet_mm, or feet_first_mm with pitch and count, not both", "feet_mm")
        if by_pitch and len(by_pitch) < 3:
            raise ValidationError("feet_first_mm, feet_pitch_mm and feet_count go together", "feet_pitch_mm")
        if (by_pitch or data.get("feet")) and not data["foot_width"]:
            raise ValidationError("is wanted when feet are given", "foot_width_mm")

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> HoldDown:
        feet = sorted(data["feet"])
        if "feet_pitch" in data:
            feet = [data["feet_first"] + i * data["feet_pitch"] for i in range(data["feet_count"])]
        return HoldDown(
            data["depth"], tuple(feet), data["foot_width"], data["force_kn"], data["wanted_share"]
        )


@says(
    one_person_kg="most that one person moves; the local rules decide",
    two_people_kg="most that two people move; the local rules decide",
    crane_kg="most that the crane moves; null: no crane",
)
class LiftingSchema(Record):
    """Masses that one person, two people, or the crane may move; null: no crane."""

    makes = Lifting
    one_person_kg = JsonNumber(load_default=25.0, validate=positive(most=1000))
    two_people_kg = JsonNumber(load_default=40.0, validate=positive(most=2000))
    crane_kg = JsonNumber(load_default=None, allow_none=True, validate=positive(most=1_000_000))


_DEFAULTS = TimeModel()


def _seconds(default: float) -> JsonNumber:
    return JsonNumber(load_default=default, validate=between(0, 86_400))


@says(
    program_setup_s="to make ready for a program",
    settings_change_s="to change gap, rake or another setting",
    gauge_start_s="to start the gauge on a new value",
    load_sheet_s="to bring a sheet from the rack and lay it",
    place_piece_s="to place a piece at the blade",
    turn_piece_s="to turn a piece",
    two_person_factor="how many times as long a piece takes that two people move",
    crane_s="to move a piece by crane",
    mark_line_s="to scribe a line and lay it under the light",
    front_stop_s="to set a front stop",
    collect_s="to collect what fell, after a step",
    hour_rate="what an hour at the machine costs, in the shop's money",
)
class TimeModelSchema(Record):
    """Shop-set times in seconds, and what an hour costs."""

    makes = TimeModel
    program_setup_s = _seconds(_DEFAULTS.program_setup_s)
    settings_change_s = _seconds(_DEFAULTS.settings_change_s)
    gauge_start_s = _seconds(_DEFAULTS.gauge_start_s)
    load_sheet_s = _seconds(_DEFAULTS.load_sheet_s)
    place_piece_s = _seconds(_DEFAULTS.place_piece_s)
    turn_piece_s = _seconds(_DEFAULTS.turn_piece_s)
    two_person_factor = JsonNumber(load_default=_DEFAULTS.two_person_factor, validate=between(1, 20))
    crane_s = _seconds(_DEFAULTS.crane_s)
    mark_line_s = _seconds(_DEFAULTS.mark_line_s)
    front_stop_s = _seconds(_DEFAULTS.front_stop_s)
    collect_s = _seconds(_DEFAULTS.collect_s)
    hour_rate = JsonNumber(load_default=_DEFAULTS.hour_rate, validate=between(0, 1e6))


@says(
    id="id of the machine, by which orders name it",
    name="name of the machine, for people",
    site="id of the site where it stands; null: none",
    cutting_length="longest edge that it shears",
    rating="the maker's rating plate",
    force_limit_kn="largest shearing force; null: only the rating is known",
    rake="the slope between the blades",
    gap="the blade gap that can be set",
    back_gauge="the stop behind the blade",
    front_stops="the stops on the squaring arm; null: none",
    marked_line_accuracy="± of a cut along a scribed line under the light; null: it has no light line",
    hold_down="the clamping feet in front of the blade",
    squaring_arm="length of the squaring arm; 0: none",
    smallest_drop="narrowest piece that may fall behind the blade, however it is gauged",
    strokes_per_minute="strokes a minute at the full stroke and the lowest rake [1/min]",
    table_depth="depth of the table in front; 0: not stated",
    sheet_support="whether thin drops are carried until they are cut",
    relief="whether the back gauge can back off before the blade comes down",
    lifting="what people and the crane may move",
    times="times of the work, set by the shop",
    blade_edges="cutting edges of one blade",
    edge_life_m="metres of the rated plate that one edge lasts: a shop setting",
)
class MachineSchema(Record):
    """A machine profile."""

    makes = Machine
    id = Text(required=True, most=60)
    name = Text(required=True)
    site = Text(load_default=None, allow_none=True, most=60)
    cutting_length = Millimetres(required=True, data_key="cutting_length_mm")
    rating = Inner(RatingSchema, required=True)
    force_limit_kn = JsonNumber(load_default=None, allow_none=True, validate=positive(most=1e6))
    rake = Inner(RakeSchema, required=True)
    gap = Inner(GapRangeSchema, required=True)
    back_gauge = Inner(BackGaugeSchema, required=True)
    front_stops = Inner(FrontStopsSchema, load_default=None, allow_none=True)
    marked_line_accuracy = Millimetres(
        load_default=None, allow_none=True, zero_ok=True, data_key="marked_line_accuracy_mm"
    )
    hold_down = Inner(HoldDownSchema, required=True)
    squaring_arm = Millimetres(load_default=0, zero_ok=True, data_key="squaring_arm_mm")
    smallest_drop = Millimetres(load_default=0, zero_ok=True, data_key="smallest_drop_mm")
    strokes_per_minute = JsonNumber(load_default=20.0, validate=positive(most=1000))
    table_depth = Millimetres(load_default=0, zero_ok=True, data_key="table_depth_mm")
    sheet_support = JsonBool(load_default=False)
    relief = JsonBool(load_default=False)
    lifting = Inner(LiftingSchema, load_default=Lifting)
    times = Inner(TimeModelSchema, load_default=TimeModel)
    blade_edges = JsonInt(load_default=4, validate=between(1, 4))
    edge_life_m = JsonNumber(load_default=60_000.0, validate=positive(most=1e9))
    max_thickness = Millimetres(
        load_default=None,
        allow_none=True,
        data_key="max_thickness_mm",
        metadata={"description": "the thickest sheet that fits under blade and feet, however soft"},
    )
    gap_table = Many(
        Inner(GapRowSchema),
        load_default=list,
        most=500,
        metadata={"description": "the machine's own blade gaps; empty: gaps by the material"},
    )
    dulled_allowance = JsonNumber(
        load_default=0.25,
        validate=between(0, 2),
        metadata={"description": "force counted for dulled edges over that of sharp ones"},
    )
    gauge_clears = JsonBool(
        load_default=False,
        metadata={
            "description": "whether the back gauge can be lifted or swung away, so that drops deeper "
            "than its range pass"
        },
    )
    force_margin = JsonNumber(
        load_default=0.1,
        validate=between(0, 0.5),
        metadata={
            "description": "how far below the force limit the rake is chosen, as a share of the limit: for "
            "sheet thicker than nominal"
        },
    )
    side_by_side = JsonInt(
        load_default=4,
        validate=between(1, 100),
        metadata={"description": "most pieces held against the gauge in one stroke"},
    )

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Machine:
        return Machine(**{**data, "gap_table": tuple(data["gap_table"])})


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
    rm_low = JsonNumber(required=True, validate=_unit(strength_slip), data_key="rm_low_n_mm2")
    rm_high = JsonNumber(required=True, validate=_unit(strength_slip), data_key="rm_high_n_mm2")


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
    rm_low = JsonNumber(required=True, validate=_unit(strength_slip), data_key="rm_low_n_mm2")
    rm_high = JsonNumber(required=True, validate=_unit(strength_slip), data_key="rm_high_n_mm2")
    strength_basis = Choice("range", "minimum", "typical", load_default="range")
    elongation = JsonNumber(
        required=True,
        validate=_unit(_elongation_slip),
        metadata={"description": "at fracture, as a fraction: 0.26 for 26 %"},
    )
    density = JsonNumber(required=True, validate=_unit(density_slip), data_key="density_kg_m3")
    youngs_modulus = JsonNumber(required=True, validate=_unit(modulus_slip), data_key="youngs_modulus_n_mm2")
    gap_share = Many(
        JsonNumber(validate=_unit(_gap_slip)),
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
        most=50,
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
    price="price of one piece, in the shop's money; null: not known",
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
