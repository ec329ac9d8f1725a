"""What each type of event tells: its payload.

Lengths are millimetres, masses those of all the pieces together, and places count from the squaring arm.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from marshmallow import Schema, ValidationError, validate, validates_schema

from schemas.fields import (
    Choice,
    Document,
    Inner,
    JsonBool,
    JsonInt,
    JsonNumber,
    Many,
    Millimetres,
    Text,
    addressable,
    between,
    positive,
)
from schemas.words import says

SCRAP_REASONS: Final = (
    "trim",
    "leftover",
    "wrong size",
    "twisted",
    "burr",
    "surface",
    "material fault",
    "test piece",
    "other",
)

_STEP = between(1, 1_000_000)
_STEP_PIECES = {"description": "pieces that the plan has of the step in all"}

HEX64 = validate.Regexp(r"\A[0-9a-f]{64}\Z", error="64 hexadecimal digits are wanted")
UUID = validate.Regexp(
    r"\A[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\Z",
    error="a UUID in lower case is wanted",
)

_TOGETHER: Final = {"description": "mass of all the pieces together"}


@says(
    ref="name of the part",
    length="length of one",
    width="width of one",
    quantity="parts that came off",
)
class MadePartSchema(Document):
    """Parts that came off in a step."""

    order_ref = Text(allow_none=True)
    ref = Text(required=True, most=60)
    length = Millimetres(required=True, data_key="length_mm")
    width = Millimetres(required=True, data_key="width_mm")
    quantity = JsonInt(required=True, validate=between(1, 1_000_000))
    mass_kg = JsonNumber(required=True, validate=between(0, 1e7), metadata=_TOGETHER)


@says(
    strokes="strokes made",
    equivalent_m="what they count as in metres of the rated plate",
    parts="parts that came off",
    blade_edge="edge of the blade that was at work",
    minutes="time that it took",
)
class CutsMadeSchema(Document):
    """Strokes made and parts that came off. ``equivalent_m`` is wear as reckoned when it was cut.

    Of a step of a plan: the pieces that went through in these strokes, beside those that the plan has;
    without ``plan_id`` and ``step`` they say nothing.
    """

    machine = Text(required=True, most=60)
    material = Text(required=True, most=60)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    cut_length = Millimetres(required=True, data_key="cut_length_mm")
    start = Millimetres(
        allow_none=True,
        data_key="start_mm",
        zero_ok=True,
        metadata={"description": "where the cut begins along the blade; left out: at the squaring arm"},
    )
    strokes = JsonInt(required=True, validate=between(1, 1_000_000))
    equivalent_m = JsonNumber(required=True, validate=between(0, 1e8))
    parts = Many(Inner(MadePartSchema), required=True, most=1000)
    plan_id = Text(allow_none=True)
    step = JsonInt(allow_none=True)
    pieces = JsonInt(
        allow_none=True,
        validate=_STEP,
        metadata={"description": "pieces of the step that went through in these strokes"},
    )
    step_pieces = JsonInt(allow_none=True, validate=_STEP, metadata=_STEP_PIECES)
    made_by = Many(
        JsonInt(validate=_STEP),
        allow_none=True,
        most=1000,
        metadata={"description": "steps that make the pieces of the step"},
    )
    heat = Text(allow_none=True, most=60)
    operator = Text(allow_none=True, most=60)
    blade_edge = JsonInt(allow_none=True, validate=between(1, 4))
    minutes = JsonNumber(allow_none=True, validate=between(0, 1e6))


@says(
    parts="parts that the sheets are",
    layout="number of the layout in the plan",
    sheets="sheets taken so",
)
class PartsTakenSchema(Document):
    """Sheets of a layout that are parts as they are: taken, and not cut.

    Their taking from the rack is an event of its own, as with sheets that are cut.
    """

    machine = Text(required=True, most=60)
    material = Text(required=True, most=60)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    parts = Many(Inner(MadePartSchema), required=True, most=1000)
    plan_id = Text(required=True)
    layout = JsonInt(required=True, validate=_STEP)
    sheets = JsonInt(required=True, validate=between(1, 1_000_000))
    layout_sheets = JsonInt(
        allow_none=True,
        validate=_STEP,
        metadata={"description": "sheets that the plan has of the layout in all"},
    )
    heat = Text(allow_none=True, most=60)
    operator = Text(allow_none=True, most=60)


@says(
    ref="name of the stock",
    quantity="pieces taken",
    length="length of one",
    width="width of one",
)
class StockTakenSchema(Document):
    """Sheets or offcuts taken from the rack to be cut."""

    ref = Text(required=True, most=60)
    quantity = JsonInt(required=True, validate=between(1, 1_000_000))
    machine = Text(required=True, most=60)
    material = Text(required=True, most=60)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    length = Millimetres(required=True, data_key="length_mm")
    width = Millimetres(required=True, data_key="width_mm")
    mass_kg = JsonNumber(required=True, validate=between(0, 1e7), metadata=_TOGETHER)
    plan_id = Text(allow_none=True)
    heat = Text(allow_none=True, most=60)
    operator = Text(allow_none=True, most=60)


@says(
    length="length of one",
    width="width of one",
    quantity="pieces of scrap",
    reason="why it is scrap",
    part_ref="name of the part that it was to be, or was",
)
class ScrapMadeSchema(Document):
    """Scrap, with its reason. A part that was written down as made before, and is spoiled, ``was_made``."""

    machine = Text(required=True, most=60)
    material = Text(required=True, most=60)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    length = Millimetres(required=True, data_key="length_mm")
    width = Millimetres(required=True, data_key="width_mm")
    quantity = JsonInt(required=True, validate=between(1, 1_000_000))
    mass_kg = JsonNumber(required=True, validate=between(0, 1e7), metadata=_TOGETHER)
    reason = Choice(*SCRAP_REASONS, required=True)
    remark = Text(allow_none=True, most=500)
    plan_id = Text(allow_none=True)
    step = JsonInt(allow_none=True)
    part_ref = Text(allow_none=True, most=60)
    was_made = JsonBool(
        allow_none=True,
        metadata={"description": "true: it counts among the parts made until now, and leaves them"},
    )
    heat = Text(allow_none=True, most=60)
    operator = Text(allow_none=True, most=60)


@says(
    ref="the name that it gets on the rack",
    length="along the rolling direction",
    width="width of one",
    quantity="offcuts stored",
    from_stock="name of the stock that it was cut from",
)
class OffcutStoredSchema(Document):
    """An offcut put back on the rack under a name of its own."""

    ref = Text(required=True, most=60)
    machine = Text(required=True, most=60)
    material = Text(required=True, most=60)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    length = Millimetres(required=True, data_key="length_mm")
    width = Millimetres(required=True, data_key="width_mm")
    quantity = JsonInt(required=True, validate=between(1, 1_000_000))
    mass_kg = JsonNumber(required=True, validate=between(0, 1e7), metadata=_TOGETHER)
    edges = Choice(
        "mill",
        "cut",
        allow_none=True,
        metadata={"description": "mill: it keeps an edge of the sheet; cut unless stated"},
    )
    oversize = Millimetres(
        allow_none=True,
        zero_ok=True,
        data_key="oversize_mm",
        metadata={"description": "how far its true size may lie from the stated one; left out: by its edges"},
    )
    from_stock = Text(allow_none=True, most=60)
    plan_id = Text(allow_none=True)
    heat = Text(allow_none=True, most=60)
    operator = Text(allow_none=True, most=60)


@says(
    gauge="value that the back gauge was set to",
    measured="depth of the drop as measured",
)
class GaugeMeasuredSchema(Document):
    """A drop measured after it was cut at a set gauge value."""

    machine = Text(required=True, most=60)
    gauge = Millimetres(required=True, data_key="gauge_mm")
    measured = Millimetres(required=True, data_key="measured_mm")
    operator = Text(allow_none=True, most=60)


def measured_something(data: Mapping[str, Any], thickness: str) -> None:
    """An edge is measured by its radius or by a burr, and a burr is nothing without the thickness.

    Raises
    ------
    ValidationError
        When it was not.
    """
    if data.get("radius_um") is None and data.get("burr_mm") is None:
        raise ValidationError("the edge radius, or the height of a burr, is wanted", "radius_um")
    if data.get("burr_mm") is not None and data.get("thickness") is None:
        raise ValidationError("the thickness of the sheet that has the burr is wanted", thickness)


@says(
    edge="number of the edge; left out: the one at work",
    blade="upper or lower; left out: not said",
    radius_um="radius of the edge",
    burr_mm="height of the burr that it leaves",
    thickness="thickness of the sheet that has the burr",
    material="grade of the sheet that has the burr",
    place="place along the blade, from the squaring arm; left out: the most worn one",
)
class EdgeMeasuredSchema(Document):
    """An edge measured: its radius, or the burr it leaves, or both; at a place along the blade.

    Left out: ``edge``: the one at work; ``place_mm``, counted from the squaring arm: the most worn place.
    """

    machine = Text(required=True, most=60)
    edge = JsonInt(allow_none=True, validate=between(1, 4))
    blade = Choice("upper", "lower", allow_none=True)
    radius_um = JsonNumber(allow_none=True, validate=positive(most=1e5))
    burr_mm = JsonNumber(allow_none=True, validate=between(0, 100))
    thickness = Millimetres(allow_none=True, data_key="thickness_mm")
    material = Text(allow_none=True, most=60)
    place = Millimetres(allow_none=True, data_key="place_mm", zero_ok=True)
    operator = Text(allow_none=True, most=60)
    remark = Text(allow_none=True, most=500)

    @validates_schema
    def _something(self, data: Mapping[str, Any], **kwargs: Any) -> None:
        measured_something(data, "thickness_mm")


@says(
    edge="number of the edge that is put to work",
    work="what was done: turned, reground or replaced",
)
class BladeTurnedSchema(Document):
    """Another edge put to work: turned, reground or replaced."""

    machine = Text(required=True, most=60)
    edge = JsonInt(required=True, validate=between(1, 4))
    work = Choice("turned", "reground", "replaced", required=True)
    operator = Text(allow_none=True, most=60)
    remark = Text(allow_none=True, most=500)


@says(
    gauge="value to set: depth of the measured side",
    repeat="cuts at this value",
    note="words for the operator",
)
class GaugeStepSchema(Document):
    """A step of a program written by hand."""

    gauge = Millimetres(required=True, data_key="gauge_mm")
    repeat = JsonInt(load_default=1, validate=between(1, 10_000))
    gauging = Choice("back gauge", "front stop", "marked line", load_default="back gauge")
    note = Text(load_default=None, allow_none=True, most=200)


@says(
    program_id="id of the program",
    name="name of the program",
    based_on_revision="revision that it was based on; 0: a new program",
)
class ProgramSavedSchema(Document):
    """A program written or changed at the machine, and the revision it was based on (0: a new one)."""

    program_id = Text(required=True, most=100, also=addressable)
    name = Text(required=True)
    machine = Text(required=True, most=60)
    material = Text(required=True, most=60)
    thickness = Millimetres(required=True, data_key="thickness_mm")
    cut_length = Millimetres(required=True, data_key="cut_length_mm")
    steps = Many(Inner(GaugeStepSchema), required=True, least=1, most=1000)
    based_on_revision = JsonInt(required=True, validate=between(0, 2**31))
    operator = Text(allow_none=True, most=60)


@says(
    event_id="of the event that is withdrawn",
    reason="why, in words",
)
class LogWithdrawnSchema(Document):
    """An event of the same station that was written down wrongly: it stays, and no longer counts."""

    event_id = Text(required=True, also=UUID)
    hash = Text(
        allow_none=True,
        also=HEX64,
        metadata={"description": "of the event that is meant, where several came under the event_id"},
    )
    reason = Text(required=True, most=500)
    operator = Text(allow_none=True, most=60)


PAYLOADS_VERSION: Final = 1
"""Raised with every type of event, and every field of one, that is added.

A centre of an earlier version keeps such a type, and puts an event with such a field in quarantine: it is
to be brought up to date before its stations, and they tell by this number where it was not.
"""

PAYLOADS: Final[dict[str, type[Schema]]] = {
    "cuts.made": CutsMadeSchema,
    "parts.taken": PartsTakenSchema,
    "stock.taken": StockTakenSchema,
    "scrap.made": ScrapMadeSchema,
    "offcut.stored": OffcutStoredSchema,
    "gauge.measured": GaugeMeasuredSchema,
    "edge.measured": EdgeMeasuredSchema,
    "blade.turned": BladeTurnedSchema,
    "program.saved": ProgramSavedSchema,
    "log.withdrawn": LogWithdrawnSchema,
}
