"""The plan request: an order, a machine, stock and options; read, checked, and resolved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from marshmallow import ValidationError, post_load, pre_load

from schemas.fields import (
    Choice,
    Document,
    Inner,
    JsonBool,
    JsonInt,
    JsonNumber,
    Limit,
    Many,
    Millimetres,
    Record,
    Size,
    Text,
    Thickness,
    between,
    units_of_request,
)
from schemas.lines import faults_of_lines
from schemas.problems import FieldError, WireError, field_errors, pointer
from schemas.records import MachineSchema, MaterialSchema, StockSchema
from schemas.slips import slip_of_certificate, slips_of_machine, slips_of_material
from schemas.words import says
from service.engine.certificates import by_certificates
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.materials_table import UnknownMaterial, material_named
from service.engine.order import (
    ANY_STAGES,
    MOST_STAGES,
    Options,
    Order,
    Part,
    StockItem,
    Tolerance,
    price_wanted,
    without_price,
)

MOST_PARTS = 10_000
MOST_PIECES = 1_000_000


@says(
    tolerance_class="class of ISO 2768-1: f fine, m medium, c coarse, v very coarse",
    minus="how far below the size it may lie, 0 or more; together with `plus`, in place of the class",
    plus="how far above the size it may lie, 0 or more; together with `minus`, in place of the class",
)
class ToleranceSchema(Record):
    """A class of ISO 2768-1, or the order's own limits as two numbers of 0 or more, both of them."""

    makes = Tolerance
    tolerance_class = Choice("f", "m", "c", "v", load_default="m", data_key="class")
    minus = Limit(load_default=None, allow_none=True, zero_ok=True)
    plus = Limit(load_default=None, allow_none=True, zero_ok=True)


@says(
    ref="name of the part, which no other line has",
    length="length of the blank; `grain` says how it lies to the rolling direction",
    width="width of the blank",
    quantity="pieces wanted; the most that are wanted where the objective is value",
    grain="how the length lies to the rolling direction: along it, across it, or any",
    rotate="whether it may be turned; it must agree with `grain`",
    tolerance="limits of length and width",
    value="what one piece is worth, in the shop's money; for the objective value",
)
class PartSchema(Record):
    """A line of the order. ``rotate`` may be given for clearness; it must agree with ``grain``."""

    makes = Part
    ref = Text(required=True, most=60)
    length = Size(required=True)
    width = Size(required=True)
    quantity = JsonInt(required=True, validate=between(1, 1_000_000))
    material = Text(required=True, most=60)
    thickness = Thickness(required=True)
    grain = Choice("any", "along", "across", load_default="any")
    rotate = JsonBool(load_only=True)
    tolerance = Inner(ToleranceSchema, load_default=Tolerance)
    value = JsonNumber(load_default=None, allow_none=True, validate=between(0, 1e6))

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Part:
        values = dict(data)
        rotate = values.pop("rotate", None)
        if rotate is True and values["grain"] != "any":
            raise ValidationError(
                f"rotate is true, but grain {values['grain']!r} fixes the direction; "
                'give grain "any", or leave rotate out',
                "rotate",
            )
        if rotate is False and values["grain"] == "any":
            values["grain"] = "along"
        return Part(**values)


@says(
    objective=(
        "what to make least: material, handling, time or cost; compare: several plans to choose from; "
        "value: the parts that are worth most"
    ),
    effort="how long to search, in steps that are the same everywhere: quick, standard, thorough",
    max_stages=(
        "how often the direction of cutting may change, plus one; 1: strips only, as long as the stock less "
        f"its trims; from {ANY_STAGES} on as often as it takes"
    ),
    trim="what is cut off a mill edge at least",
    offcut_min="the two sides that a leftover must reach to be kept as an offcut",
    open_stacks="how many stacks of pieces may wait at the machine; null: any number",
    pick="which plan of a comparison, 0 the recommended one",
)
class OptionsSchema(Record):
    """How to plan."""

    makes = Options
    objective = Choice("material", "handling", "time", "cost", "compare", "value", load_default="material")
    effort = Choice("quick", "standard", "thorough", load_default="standard")
    max_stages = JsonInt(load_default=3, validate=between(1, MOST_STAGES))
    trim = Millimetres(load_default=500, zero_ok=True, data_key="trim_mm")
    offcut_min = Many(Size(), least=2, most=2)
    batch = JsonBool(load_default=True)
    open_stacks = JsonInt(load_default=None, allow_none=True, validate=between(1, 1000))
    pick = JsonInt(load_default=0, validate=between(0, 4))

    @post_load
    def _make(self, data: Mapping[str, Any], **kwargs: Any) -> Options:
        if data["pick"] and data["objective"] != "compare":
            raise ValidationError("only a comparison has plans to pick from; give objective compare", "pick")
        sides = data.get("offcut_min") or Options().offcut_min
        return Options(**{**data, "offcut_min": (max(sides), min(sides))})


class MachineField(Inner):
    """The id of a known machine, or a whole profile."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(MachineSchema, **kwargs)

    def _deserialize(
        self, value: Any, attr: str | None, data: Any, partial: Any = None, **kwargs: Any
    ) -> Any:
        if isinstance(value, str):
            return Text(most=60).deserialize(value)
        if not isinstance(value, Mapping):
            raise ValidationError("the id of a machine is wanted, or a whole machine profile")
        return super()._deserialize(value, attr, data, partial=partial, **kwargs)


@says(
    machine="id of a known machine, or a whole machine profile",
    parts="what is wanted, one line a part",
    stock="what to cut from; left out: the stock of the machine's site",
)
class OrderSchema(Document):
    """A plan request. Without ``stock`` the stock of the machine's site is used."""

    order_ref = Text(required=True)
    machine = MachineField(required=True)
    units = Choice("mm", "in", load_default="mm")
    gauge_table = Choice("steel", "galvanised", "stainless", "aluminium", load_default=None, allow_none=True)
    materials = Many(Inner(MaterialSchema), load_default=list, most=500)
    parts = Many(Inner(PartSchema), required=True, least=1, most=MOST_PARTS)
    stock = Many(Inner(StockSchema), most=MOST_PARTS)
    options = Inner(OptionsSchema, load_default=Options)

    @pre_load
    def _object(self, data: Any, **kwargs: Any) -> Any:
        return data


def read_order(
    document: Any,
    *,
    machine_named: Callable[[str], Machine | None],
    own_materials: Sequence[Material] = (),
    stock_at: Callable[[Machine], Iterable[StockItem]] | None = None,
    made_before: bool = False,
) -> Order:
    """Read a plan request into everything that a plan depends on.

    Parameters
    ----------
    document
        Parsed JSON.
    machine_named
        Finds a machine by its id; None when it is not known.
    own_materials
        The shop's grades, which win over built-in ones of the same name.
    stock_at
        The stock to use when the request brings none.
    made_before
        Whether it is the order of a plan made before: figures that would not be taken today are then
        read as they are.

    Raises
    ------
    WireError
        Naming each field that is wrong and what is wanted.
    """
    data = _loaded(document, own_materials, made_before=made_before)
    errors: list[FieldError] = []
    machine = data["machine"]
    if isinstance(machine, str):
        known = machine_named(machine)
        if known is None:
            errors.append(FieldError("/machine", f"no machine is known by the id {machine!r}"))
        machine = known
    elif not made_before:
        errors += slips_of_machine(machine, "machine")
    if not made_before:
        for index, material in enumerate(data["materials"]):
            errors += slips_of_material(material, "materials", index)
    parts: list[Part] = data["parts"]
    options: Options = data["options"]
    if sum(part.quantity for part in parts) > MOST_PIECES:
        errors.append(FieldError("/parts", f"at most {MOST_PIECES} pieces in all are wanted"))
    inline: list[StockItem] | None = data.get("stock")
    errors += faults_of_lines(document, own_materials, made_before=made_before)
    own = [*data["materials"], *own_materials]
    materials: dict[str, Material] = {}
    for line in (*parts, *(inline or ())):
        if line.material in materials:
            continue
        try:
            materials[line.material] = material_named(line.material, own)
        except UnknownMaterial:
            continue  # told above, by its line
    if errors or machine is None:
        raise WireError(errors)
    if inline is None:
        wanted = {(part.material, part.thickness) for part in parts}
        found = stock_at(machine) if stock_at is not None else ()
        inline = sorted(
            (item for item in found if (item.material, item.thickness) in wanted),
            key=lambda item: item.ref,
        )
    if options.objective == "value":
        wanted_value = "to fill the stock with what is worth most every part needs a value"
        errors += [
            FieldError(pointer("parts", i, "value"), wanted_value)
            for i, part in enumerate(parts)
            if part.value is None
        ]
        if errors:
            raise WireError(errors)
    if options.objective == "cost":
        unpriced = without_price(inline)
        if unpriced is not None:
            raise WireError([FieldError("/options/objective", price_wanted(unpriced))])
    if data.get("stock") is not None and not made_before:
        slips = [
            FieldError(pointer("stock", index, "tensile_strength_n_mm2"), said)
            for index, item in enumerate(inline)
            if (said := slip_of_certificate(materials[item.material], item)) is not None
        ]
        if slips:
            raise WireError(slips)
    return Order(
        order_ref=data["order_ref"],
        machine=machine,
        materials=tuple(by_certificates(materials[grade], inline) for grade in sorted(materials)),
        parts=tuple(parts),
        stock=tuple(inline),
        options=options,
    )


def write_order(order: Order) -> dict[str, Any]:
    """A resolved order as a plan request in millimetres; reading it back gives an equal order."""
    return {
        "order_ref": order.order_ref,
        "units": "mm",
        "machine": MachineSchema().dump(order.machine),
        "materials": MaterialSchema(many=True).dump(order.materials),
        "parts": PartSchema(many=True).dump(order.parts),
        "stock": StockSchema(many=True).dump(order.stock),
        "options": OptionsSchema().dump(order.options),
    }


def _loaded(document: Any, own: Sequence[Material], *, made_before: bool) -> dict[str, Any]:
    if not isinstance(document, Mapping):
        raise WireError([FieldError("", "a JSON object with order_ref, machine and parts is wanted")])
    units = document.get("units")
    table = document.get("gauge_table")
    with units_of_request("in" if units == "in" else "mm", table.lower() if isinstance(table, str) else None):
        try:
            loaded: dict[str, Any] = OrderSchema().load(document)
        except ValidationError as error:
            found = list(field_errors(error.messages))
            told = {one.pointer for one in found}
            besides = faults_of_lines(document, own, made_before=made_before)
            raise WireError([*found, *(one for one in besides if one.pointer not in told)]) from error
    return loaded
