"""Trim a mill edge once for the whole sheet, instead of strip by strip.

When a sheet is slit first, each strip still carries the mill edge of its end, and each gets a trim cut
of its own. Where many strips would, the end of the whole sheet is trimmed before it is slit: the same
parts come out, with one stroke for many. Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from typing import Final

from service.engine.layout import rules
from service.engine.layout.job import Job
from service.engine.layout.tree import stages_of
from service.engine.layout.walk import walk
from service.engine.plan import Axis, Leaf, Node, Split
from service.engine.quantities import Length

FROM_STRIPS: Final = 3
"""Strips from which the extra turn of the whole sheet is worth it: shop default."""


def trimmed_whole(job: Job, stock_ref: str, tree: Node) -> Node:
    """The same layout with the ends of its strips trimmed in one cut, where that saves strokes.

    Parameters
    ----------
    job
        Machine, parts, stock and options.
    stock_ref
        The stock piece that the tree divides.
    tree
        A layout that the machine can cut.

    Returns
    -------
    A layout that the machine can cut as well and that gives the same parts; `tree` itself when fewer
    than :data:`FROM_STRIPS` strips are trimmed, when the whole sheet cannot be trimmed, or when that would
    be a stage of cuts too many.
    """
    if not isinstance(tree, Split):
        return tree
    other: Axis = "y" if tree.axis == "x" else "x"
    depth = _common_trim(tree, other)
    if depth is None:
        return tree
    children = tuple(_without(child, other, depth, job.options.offcut_min) for child in tree.children)
    if any(child is None for child in children):
        return tree
    body = Split(
        tree.axis,
        *_place(tree, other, depth),
        tuple(child for child in children if child is not None),
    )
    first = Leaf("trim", tree.x, tree.y, *((depth, tree.dy) if other == "x" else (tree.dx, depth)))
    whole = Split(other, tree.x, tree.y, tree.dx, tree.dy, (first, body))
    if stages_of(whole) > job.options.max_stages:
        return tree
    piece = rules.stock_piece(next(item for item in job.stock if item.ref == stock_ref), job.options.trim)
    parts = {part.ref: part for part in job.parts}
    cut = walk(job.machine, whole, piece, parts, job.options.trim, job.longest)
    return tree if isinstance(cut, str) else whole


def _common_trim(tree: Split, other: Axis) -> Length | None:
    """Depth of the trim that every strip begins with; None when they differ or are few."""
    depths: set[Length] = set()
    strips = 0
    for child in tree.children:
        if isinstance(child, Leaf):
            if child.kind == "part":
                return None
            continue
        head = child.children[0]
        if child.axis != other or not isinstance(head, Leaf) or head.kind != "trim":
            return None
        depths.add(head.dx if other == "x" else head.dy)
        strips += 1
    return depths.pop() if strips >= FROM_STRIPS and len(depths) == 1 else None


def _without(child: Node, other: Axis, depth: Length, offcut_min: tuple[Length, Length]) -> Node | None:
    """A child of the slit sheet without its trimmed end; None when nothing fit to cut is left of it."""
    place = _place(child, other, depth)
    if isinstance(child, Leaf):
        large = max(place[2:]) >= max(offcut_min) and min(place[2:]) >= min(offcut_min)
        return Leaf("trim" if child.kind == "trim" else "offcut" if large else "scrap", *place)
    rest = child.children[1:]
    if len(rest) > 1:
        return Split(child.axis, *place, rest)
    # A strip that is one part long and nothing else needs no further cut in that direction.
    return rest[0] if len(rest) == 1 and isinstance(rest[0], Leaf) else None


def _place(node: Node, axis: Axis, depth: Length) -> tuple[Length, Length, Length, Length]:
    """Corner and sizes of a node after that depth is cut off its near end."""
    if axis == "x":
        return node.x + depth, node.y, node.dx - depth, node.dy
    return node.x, node.y + depth, node.dx, node.dy - depth
