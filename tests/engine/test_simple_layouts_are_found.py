"""Whatever the plainest of all layouts can make, the planner makes: it never refuses what is simple.

The plainest layout holds one part: trim, part and rest in one direction, then the same in the other.
Whether the machine can cut it is asked of the rules of a cut; the search has no part in it.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator

import pytest
from hypothesis import given, settings

from service.engine.force import longest_cut
from service.engine.handling import lift_for, piece_kg
from service.engine.layout import rules
from service.engine.layout.walk import walk
from service.engine.machine import Machine
from service.engine.order import Options, Order, StockItem
from service.engine.plan import Axis, Leaf, LeafKind, Node, Split
from service.engine.planner import plan
from tests.strategies import orders

EXAMPLES = int(os.environ.get("SHEARWRIGHT_EXAMPLES", "150"))
pytestmark = pytest.mark.timeout(max(300, 2 * EXAMPLES))
AXES: tuple[Axis, Axis] = ("x", "y")
Inner = Callable[[int, int, int, int], Node | None]
Box = tuple[int, int, int, int]


def cut_out(axis: Axis, box: Box, trim: int, size: int, options: Options, inner: Inner) -> Node | None:
    """Trim, an item of that size, and the rest, side by side along an axis; None when there is no room."""
    x, y, dx, dy = box

    def at(place: int, depth: int) -> Box:
        return (place, y, depth, dy) if axis == "x" else (x, place, dx, depth)

    start, full = (x, dx) if axis == "x" else (y, dy)
    rest = full - trim - size
    item = inner(*at(start + trim, size)) if rest >= 0 else None
    if item is None:
        return None
    children = [item]
    if trim:
        children.insert(0, Leaf("trim", *at(start, trim)))
    if rest:
        sides = at(start + trim + size, rest)
        larger, smaller = options.offcut_min
        keep = max(sides[2:]) >= larger and min(sides[2:]) >= smaller
        kind: LeafKind = "offcut" if keep else "scrap"
        children.append(Leaf(kind, *sides))
    return children[0] if len(children) == 1 else Split(axis, *box, tuple(children))


def plainest(order: Order, machine: Machine, item: StockItem) -> Iterator[Node]:
    """The plainest layouts of the order's only part on a piece of stock: both ways round, both ways first."""
    part, options = order.parts[0], order.options
    mill = item.edges == "mill" and options.trim > 0
    trim = rules.trim_depth(machine, options.trim) if mill else 0
    for rotated in (False, True):
        if part.grain == ("along" if rotated else "across"):
            continue
        sizes = dict(
            zip(AXES, (part.width, part.length) if rotated else (part.length, part.width), strict=True)
        )
        for first, second in (AXES, AXES[::-1]):
            if options.max_stages == 1:
                continue

            def leaf(*box: int, turned: bool = rotated) -> Node:
                return Leaf("part", *box, part.ref, turned)

            def strip(
                *box: int, along: Axis = second, lies: Inner = leaf, size: int = sizes[second]
            ) -> Node | None:
                return cut_out(along, box, trim, size, options, lies)  # type: ignore[arg-type]

            tree = cut_out(first, (0, 0, item.length, item.width), trim, sizes[first], options, strip)
            if tree is not None:
                yield tree


@settings(max_examples=2 * EXAMPLES)
@given(orders(most_parts=1, most_stock=2, most_quantity=1))
def test_a_part_that_the_plainest_layout_can_make_is_placed(order: Order) -> None:
    part, machine, trim = order.parts[0], order.machine, order.options.trim
    material = order.material(part.material)
    if not material.shearable or plan(order).summary.parts:
        return
    longest = longest_cut(machine, material, part.thickness)
    for item in order.stock:
        same = (item.material, item.thickness) == (part.material, part.thickness)
        kg = piece_kg(material, item.length, item.width, item.thickness)
        if (
            not same
            or item.quantity == 0
            or longest == 0
            or lift_for(machine, kg, (item.length, item.width)) is None
        ):
            continue
        for tree in plainest(order, machine, item):
            piece = rules.stock_piece(item, trim)
            walked = walk(machine, tree, piece, {part.ref: part}, trim, longest)
            assert isinstance(walked, str), f"refused, yet this can be cut: {tree}"
