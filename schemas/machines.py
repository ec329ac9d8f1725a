"""Machine profiles on the wire."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import floor
from typing import Any

from marshmallow import ValidationError, post_load, pre_load, validates_schema

from schemas.fields import (
    Inner,
    JsonBool,
    JsonInt,
    JsonNumber,
    Many,
    Millimetres,
    Record,
    Text,
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
from service.engine.plausible import strength_slip


def meant(slip: Callable[[float], str | None]) -> Callable[[float], None]:
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
        load_default=450.0, data_key="rm_n_mm2", validate=[meant(strength_slip), between(50, 3000)]
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


_LIFTS = Lifting()
MOST_FOR_ONE_KG = 1000
"""More than that is a slip of the pen."""


@says(
    one_person_kg="most that one person moves; the local rules decide",
    two_people_kg="most that two people move; left out: two thirds of twice what one may",
    crane_kg="most that the crane moves; null: no crane",
    one_person_length="longest piece that one person moves, however light",
    one_person_width="widest piece that one person moves, by its shorter side",
)
class LiftingSchema(Record):
    """What one person, two people, or the crane may move; null: no crane."""

    makes = Lifting
    one_person_kg = JsonNumber(load_default=_LIFTS.one_person_kg, validate=positive(most=MOST_FOR_ONE_KG))
    two_people_kg = JsonNumber(load_default=_LIFTS.two_people_kg, validate=positive(most=2000))
    crane_kg = JsonNumber(load_default=None, allow_none=True, validate=positive(most=1_000_000))
    one_person_length = Millimetres(load_default=_LIFTS.one_person_length, data_key="one_person_length_mm")
    one_person_width = Millimetres(load_default=_LIFTS.one_person_width, data_key="one_person_width_mm")

    @pre_load
    def _as_a_team(self, data: Any, **kwargs: Any) -> Any:
        """Two people are taken to lift two thirds of twice what one may, in tenths of a kilogram."""
        if not isinstance(data, Mapping) or "two_people_kg" in data:
            return data
        one = data.get("one_person_kg")
        if isinstance(one, bool) or not isinstance(one, int | float) or not 0 < one <= MOST_FOR_ONE_KG:
            return data
        return {**data, "two_people_kg": floor(round(one * 40 / 3, 6)) / 10}


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
