"""A plan on the wire, both ways. It carries the resolved order, so it explains itself anywhere."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, fields, post_load, pre_load

from schemas.fields import (
    Choice,
    Inner,
    JsonBool,
    JsonInt,
    JsonNumber,
    Many,
    Millimetres,
    Record,
    Text,
)
from schemas.findings import Findings
from schemas.layouts import LayoutSchema
from schemas.orders import OrderSchema, read_order, write_order
from schemas.problems import WireError, field_errors
from schemas.steps import StepSchema
from schemas.words import says
from service.engine.order import Order
from service.engine.plan import (
    Alternative,
    Bound,
    CutPlan,
    PartQuality,
    Summary,
    Unplaced,
)


@says(
    ref="name of the part in the order",
    quantity="pieces that are not planned",
    code="short stable word for the reason",
    reason="why, in words",
)
class UnplacedSchema(Record):
    """What could not be planned, and why."""

    makes = Unplaced
    ref = Text(required=True)
    quantity = JsonInt(required=True)
    code = Text(required=True)
    reason = Text(required=True, most=2000)


@says(
    pieces="no plan for these parts uses fewer pieces of stock",
    area_mm2="no plan for these parts uses less area of stock",
    cost=(
        "no plan for these parts pays less for stock, in the shop's money, offcuts without a price counted "
        "as nothing; null: some sheet has no price"
    ),
    gap_pieces="pieces of stock used less `pieces`; a plan of fewer pieces, if there is one, may be dearer",
    gap_share=(
        "how far the plan lies above the bound of cost, else (no price known, or nothing need be paid) of "
        "area, as a share of the bound"
    ),
    method="the argument that gave the best bound",
    value="no choice of parts from this stock is worth more; for the objective value, else null",
    gap_value=(
        "how far what the chosen parts are worth lies below `value`, as a share of it; for the objective "
        "value, else null"
    ),
)
class BoundSchema(Record):
    """The proven least stock, and how far the plan lies above it."""

    makes = Bound
    pieces = JsonInt(required=True)
    area_mm2 = JsonNumber(required=True)
    cost = JsonNumber(required=True, allow_none=True)
    gap_pieces = JsonInt(required=True)
    gap_share = JsonNumber(required=True)
    method = Text(required=True, most=500)
    value = JsonNumber(load_default=None, allow_none=True)
    gap_value = JsonNumber(load_default=None, allow_none=True)


@says(
    sheets="sheets used",
    offcuts_used="offcuts used",
    parts="parts made",
    stock_area_mm2="area of the stock used",
    parts_area_mm2="area of the parts",
    offcut_area_mm2="area of the offcuts that are kept",
    scrap_area_mm2="area of the scrap, trims included",
    utilisation="area of parts over area of stock less offcuts kept, as a fraction",
    parts_kg="mass of the parts",
    scrap_kg="mass of the scrap",
    cut_metres="length sheared [m]",
    strokes="strokes of the blade",
    gauge_moves="changes of gauging or gauge value, the first setting included",
    settings_changes="changes of gap, rake or another setting",
    turns="pieces turned",
    minutes="time that it takes, by the times of the machine profile",
    material_cost=(
        "price of the stock used, in the shop's money; offcuts without a price count as nothing beside "
        "priced sheets; null: some has no price that counts"
    ),
    time_cost="price of the time, in the shop's money",
    handling="points of handling, as the developers' page states; null in plans of earlier engines",
    most_waiting=(
        "the most stacks of pieces that wait while a step is made, which options.open_stacks can limit; "
        "null in plans of earlier engines"
    ),
    worth="what the parts made are worth together; for the objective value, else null",
)
class SummarySchema(Record):
    """The plan in figures."""

    makes = Summary
    sheets = JsonInt(required=True)
    offcuts_used = JsonInt(required=True)
    parts = JsonInt(required=True)
    stock_area_mm2 = JsonNumber(required=True)
    parts_area_mm2 = JsonNumber(required=True)
    offcut_area_mm2 = JsonNumber(required=True)
    scrap_area_mm2 = JsonNumber(required=True)
    utilisation = JsonNumber(required=True)
    parts_kg = JsonNumber(required=True)
    scrap_kg = JsonNumber(required=True)
    cut_metres = JsonNumber(required=True)
    strokes = JsonInt(required=True)
    gauge_moves = JsonInt(required=True)
    settings_changes = JsonInt(required=True)
    turns = JsonInt(required=True)
    minutes = JsonNumber(required=True)
    material_cost = JsonNumber(required=True, allow_none=True)
    time_cost = JsonNumber(required=True)
    handling = JsonInt(load_default=None, allow_none=True)
    most_waiting = JsonInt(load_default=None, allow_none=True)
    worth = JsonNumber(load_default=None, allow_none=True)


@says(
    ref="name of the part in the order",
    dimension="length or width",
    size="nominal size",
    aim="size that is cut for",
    gauged="what bounds the size",
    accuracy="± of the worst of the parts, all errors added up at their worst",
    minus="limit below the nominal size",
    plus="limit above the nominal size",
    inside=(
        "chance of each part, of the worst placed, to be within the limits, as a fraction; null: not known"
    ),
    count="how many parts are made",
    outside="how many of them lie outside on average",
    all_inside="chance that none lies outside, as a fraction",
)
class PartQualitySchema(Record):
    """How near to size the worst of the parts of a line comes out, in one dimension.

    ``aim_mm``: the size that is cut for, the nominal one unless the limits are far from the same both
    ways. ``inside``: chance of each part, of the worst placed, to be within the limits, by the error model
    that the developers' page states. ``count``, ``outside``, ``all_inside``: how many are made, how many of
    them lie outside on average, and the chance that none does; null in plans of engines before 0.3.
    """

    makes = PartQuality
    ref = Text(required=True)
    dimension = Choice("length", "width", required=True)
    size = Millimetres(required=True, data_key="size_mm")
    aim = Millimetres(load_default=None, data_key="aim_mm")
    gauged = Choice("back gauge", "front stop", "marked line", "remainder", "stock size", required=True)
    accuracy = Millimetres(required=True, data_key="accuracy_mm", zero_ok=True)
    minus = Millimetres(required=True, data_key="minus_mm", zero_ok=True)
    plus = Millimetres(required=True, data_key="plus_mm", zero_ok=True)
    inside = JsonNumber(required=True, allow_none=True)
    count = JsonInt(load_default=None, allow_none=True)
    outside = JsonNumber(load_default=None, allow_none=True)
    all_inside = JsonNumber(load_default=None, allow_none=True)
    findings = Findings()

    @pre_load
    def _aimed_at_nominal(self, data: Any, **kwargs: Any) -> Any:
        """Plans of engines before 0.3 cut everything for its nominal size and do not say so."""
        if isinstance(data, dict) and "aim_mm" not in data and "size_mm" in data:
            return {**data, "aim_mm": data["size_mm"]}
        return data


@says(
    pick="its number in the comparison, for options.pick",
    fingerprint="of the plan itself, SHA-256 over what it depends on",
    best_at="by what no plan of the comparison is better; empty: it lies between the others",
    how="in what it differs, in words",
    summary="its figures",
    handling="points of handling",
    gap_share="how far it lies above the bound, as a share of the bound",
)
class AlternativeSchema(Record):
    """Another plan of a comparison: its figures, and the id under which it is kept.

    The order with ``pick`` in its options gives the same plan. ``best_at``: by what no plan of the
    comparison is better. ``handling`` counts points, as the developers' page states.
    """

    makes = Alternative
    id = fields.Method("_id", metadata={"description": "of the plan itself", "type": "string"})
    pick = JsonInt(required=True)
    fingerprint = Text(required=True)
    best_at = Many(Choice("material", "handling", "time", "cost"), required=True)
    how = Text(required=True, least=0, most=2000)
    summary = Inner(SummarySchema, required=True)
    handling = JsonInt(required=True)
    gap_share = JsonNumber(required=True)

    def _id(self, alternative: Alternative) -> str:
        return plan_id(alternative.fingerprint)

    @pre_load
    def _without_id(self, data: Any, **kwargs: Any) -> Any:
        # It is the beginning of the fingerprint, repeated for readers.
        return {k: v for k, v in data.items() if k != "id"} if isinstance(data, Mapping) else data

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Alternative:
        return Alternative(**{**data, "best_at": tuple(data["best_at"])})


@says(
    fingerprint="SHA-256 over everything that the plan depends on: the same input gives the same",
    engine_version="version of the engine that made it",
    summary="the plan in figures",
    bound="the least stock that any plan for these parts needs",
    layouts="how pieces of stock are divided",
    program="the steps at the machine, in their order",
    unplaced="parts that are not planned, each with its reason",
    stopped_early="whether the search ended at its ceiling of steps",
    quality="how near to size each part comes out",
    alternatives="the other plans of a comparison",
    cut_short="whether the search was ended from outside, so that another run may differ",
    best_at="by what no plan of the comparison is better; empty where none was asked for",
)
class PlanSchema(Record):
    """A cut plan. ``id`` is given by the service or the workstation that keeps it.

    ``alternatives`` are the other plans of a comparison. ``cut_short``: the search was ended from
    outside, and another run may give another plan.
    """

    makes = CutPlan
    order_ref = Text(required=True)
    machine_id = Text(required=True)
    fingerprint = Text(required=True)
    engine_version = Text(required=True)
    summary = Inner(SummarySchema, required=True)
    bound = Inner(BoundSchema, required=True)
    layouts = Many(Inner(LayoutSchema), required=True)
    program = Many(Inner(StepSchema), required=True, most=200_000)
    findings = Findings()
    unplaced = Many(Inner(UnplacedSchema), required=True)
    cautions = Many(Text(most=2000), required=True)
    stopped_early = JsonBool(required=True)
    quality = Many(Inner(PartQualitySchema), load_default=tuple)
    alternatives = Many(Inner(AlternativeSchema), load_default=tuple, most=5)
    cut_short = JsonBool(load_default=False)
    best_at = Many(Choice("material", "handling", "time", "cost"), load_default=tuple)

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> CutPlan:
        lists = ("layouts", "program", "unplaced", "cautions", "quality", "alternatives", "best_at")
        return CutPlan(**{**data, **{name: tuple(data[name]) for name in lists}})


@says(
    id="id of the plan: the beginning of its fingerprint",
    order="the order that it answers, with everything that it depends on",
)
class PlanDocumentSchema(PlanSchema):
    """A plan as it is sent and kept: with its id and the order that it answers."""

    id = fields.String(dump_only=True)
    order = fields.Nested(OrderSchema, dump_only=True)


def plan_id(fingerprint: str) -> str:
    """The id of the plan with that fingerprint: its first 16 hexadecimal digits."""
    return fingerprint[:16]


def write_plan(plan: CutPlan, order: Order, plan_id: str | None = None) -> dict[str, Any]:
    """A plan document: the plan, the order that it answers, and an id when it has one."""
    document: dict[str, Any] = PlanSchema().dump(plan)
    if plan_id is not None:
        document = {"id": plan_id, **document}
    return {**document, "order": write_order(order)}


def read_plan(document: Any) -> tuple[CutPlan, Order]:
    """Read a plan document back; an equal plan and an equal order.

    Raises
    ------
    WireError
        When the document does not keep the contract.
    """
    if not isinstance(document, Mapping) or "order" not in document:
        raise WireError(list(field_errors({"order": ["a plan document carries its order"]})))
    order = read_order(document["order"], machine_named=lambda _: None, made_before=True)
    try:
        plan = PlanSchema().load({k: v for k, v in document.items() if k not in {"id", "order"}})
    except ValidationError as error:
        raise WireError(list(field_errors(error.messages))) from error
    return plan, order
