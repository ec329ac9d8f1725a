"""Carrying a shape out as a guillotine tree that the machine can cut.

A shape (:mod:`.grid`) knows sizes only. Here each of its levels is arranged by the rules, what cannot
be separated or is no longer wanted is left out, and what is left beside the parts is filled anew.
Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence

from service.engine.layout.grid import Cuts, Shape, size_of, variants_in
from service.engine.layout.kinds import Variant
from service.engine.layout.levels import Entry
from service.engine.layout.rules import NO_LIMIT
from service.engine.layout.shapes import OTHER, Wish
from service.engine.layout.tree import Builder, Made, Region, places
from service.engine.plan import Axis, Node
from service.engine.quantities import Length


def carve(builder: Builder, region: Region, shape: Shape, stages: int, wish: Wish) -> Node | None:
    """The shape in that region, within the pieces still wanted; None when nothing of it is left."""
    # Taken from what is wanted at once, so that no rest is filled with what a later piece holds.
    kept = _wanted(shape, wish.caps)
    return None if kept is None else _carved(builder, region, kept, stages, wish)


def _given_back(shape: Shape, wish: Wish) -> None:
    for v in variants_in(shape):
        wish.caps[v.kind] += 1


def _wanted(shape: Shape, caps: list[int]) -> Shape | None:
    """The shape without parts of which more are in it than are wanted."""
    if isinstance(shape, Variant):
        if caps[shape.kind] <= 0:
            return None
        caps[shape.kind] -= 1
        return shape
    children = [kept for child in shape.children if (kept := _wanted(child, caps)) is not None]
    if len(children) > 1:
        return Cuts(shape.axis, tuple(children))
    return children[0] if children else None


def _carved(builder: Builder, region: Region, shape: Shape, stages: int, wish: Wish) -> Node:
    axis: Axis
    if isinstance(shape, Variant):
        if shape.dx == region.piece.x.size and shape.dy == region.piece.y.size:
            return builder.part(region, shape, wish)
        # The larger rest first: it stays whole.
        spare_x = region.piece.x.size - shape.dx
        spare_y = region.piece.y.size - shape.dy
        axis = "x" if spare_x * region.piece.y.size >= spare_y * region.piece.x.size else "y"
        if (spare_x if axis == "x" else spare_y) == 0:
            axis = OTHER[axis]
        items: Sequence[Shape] = (shape,)
    else:
        axis, items = shape.axis, shape.children
    if stages < 1 or not builder.filler.cuttable(region.piece.across(axis).size):
        _given_back(shape, wish)
        return builder.waste("scrap", region)
    children = list(items)
    extent = region.piece.along(axis)
    breadth = region.piece.across(axis).size
    while children:
        entries = [_entry(child, axis, breadth) for child in children]
        arranged = builder.arranged(extent, entries)
        if arranged is not None:
            break
        worst = min(range(len(children)), key=lambda i: (_density(children[i], axis, wish.values), -i))
        _given_back(children.pop(worst), wish)
    else:
        return builder.rest(region, OTHER[axis], stages, wish)
    nodes = [
        _carved(builder, region.part(axis, at, made), children[index], stages - 1, wish)
        for index, at, made in places(arranged)
    ]
    return builder.close(region, axis, stages, Made(entries, arranged, nodes), wish)


def _density(shape: Shape, axis: Axis, values: Sequence[int]) -> int:
    return sum(values[v.kind] for v in variants_in(shape)) // size_of(shape, axis)


def _entry(shape: Shape, axis: Axis, breadth: Length) -> Entry:
    content = tuple(number for v in variants_in(shape) for number in (v.kind, int(v.rotated)))
    tolerance, good = _needs(shape, axis, size_of(shape, axis), breadth)
    return Entry(size_of(shape, axis), tolerance, good, content)


def _needs(shape: Shape, axis: Axis, depth: Length, breadth: Length) -> tuple[Length, bool]:
    """The deviation that the extent along `axis` bears, and whether a part takes its edges from it.

    `depth` is that extent, `breadth` the other one; a part that is smaller gets a cut of its own.
    """
    if isinstance(shape, Variant):
        whole = shape.along(axis) == depth
        return (shape.tolerance(axis), True) if whole else (NO_LIMIT, False)
    if shape.axis == axis:
        return NO_LIMIT, False
    needs = [_needs(child, axis, depth, size_of(child, shape.axis)) for child in shape.children]
    return min(n[0] for n in needs), any(n[1] for n in needs)
