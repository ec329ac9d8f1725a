"""Plans for the pictures: layouts laid by hand, their programs written by the engine."""

from __future__ import annotations

from collections.abc import Sequence

from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.plan import Axis, Bound, CutPlan, Layout, Leaf, LeafKind, Node, Split, Summary
from service.engine.quantities import Length, mm
from tests.engine.program.written import write_program

BENCH = Machine(
    id="bench-3m",
    name="Bench shear 3 m",
    cutting_length=mm(3000),
    rating=Rating(mm(8)),
    rake=Rake(0.5, 2.0),
    gap=GapRange(mm(0.05), mm(1)),
    back_gauge=BackGauge(mm(3), mm(1000)),
    hold_down=HoldDown(mm(20)),
    squaring_arm=mm(1500),
)

Cut = tuple[float, "str | Division"]
Division = tuple[Axis, list[Cut]]
"""``("y", [(5, "trim"), (300, ("x", [...])), …])``: sizes in mm, and what becomes of each."""


def tree(division: str | Division, dx: Length, dy: Length, x: Length = 0, y: Length = 0) -> Node:
    """A layout tree from a division; ``~P1`` is part P1 turned."""
    if isinstance(division, str):
        kind: LeafKind = "part"
        for known in ("trim", "scrap", "offcut"):
            if division == known:
                kind = known  # type: ignore[assignment]
        ref = division.lstrip("~") if kind == "part" else None
        return Leaf(kind, x, y, dx, dy, ref, division.startswith("~"))
    axis, cuts = division
    children: list[Node] = []
    at = x if axis == "x" else y
    for size, inner in cuts:
        length = mm(size)
        if axis == "x":
            children.append(tree(inner, length, dy, at, y))
        else:
            children.append(tree(inner, dx, length, x, at))
        at += length
    return Split(axis, x, y, dx, dy, tuple(children))


def plan_of(
    parts: Sequence[Part],
    stock: Sequence[StockItem],
    divisions: Sequence[tuple[str, int, Division | str]],
    *,
    batch: bool = True,
    order_ref: str = "W-1042",
) -> tuple[CutPlan, Order]:
    """A plan with these layouts, each ``(stock ref, repeat, division)``. Its figures are left at nought."""
    by_ref = {item.ref: item for item in stock}
    options = Options(batch=batch, trim=mm(5))
    grades = sorted({part.material for part in parts} | {item.material for item in stock})
    materials = tuple(material_named(grade) for grade in grades)
    order = Order(order_ref, BENCH, materials, tuple(parts), tuple(stock), options)
    layouts = tuple(
        Layout(number, ref, by_ref[ref].material, by_ref[ref].thickness, repeat,
               tree(division, by_ref[ref].length, by_ref[ref].width))
        for number, (ref, repeat, division) in enumerate(divisions, start=1)
    )  # fmt: skip
    steps = []
    for layout in layouts:
        steps += write_program(
            BENCH, order.material(layout.material), (layout,), {part.ref: part for part in parts}, by_ref,
            options, BENCH.cutting_length, len(steps) + 1,
        )  # fmt: skip
    summary = Summary(0, 0, 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, 0, 0, 0, 0.0, None, 0.0)
    bound = Bound(0, 0.0, None, 0, 0.0, "none")
    plan = CutPlan(
        order_ref, BENCH.id, "0" * 64, "test", summary, bound, layouts, tuple(steps), (), (), (), False
    )
    return plan, order


def part(ref: str, length: float, width: float, quantity: int = 1, **more: object) -> Part:
    """A part of 3 mm S235JR, in mm."""
    return Part(ref, mm(length), mm(width), quantity, "S235JR", mm(3), **more)  # type: ignore[arg-type]


def sheet(ref: str, length: float, width: float, quantity: int = 1, **more: object) -> StockItem:
    """A sheet of 3 mm S235JR, in mm."""
    return StockItem(ref, mm(length), mm(width), quantity, "S235JR", mm(3), **more)  # type: ignore[arg-type]
