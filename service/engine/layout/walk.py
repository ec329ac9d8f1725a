"""A whole layout tree tried on a piece, level by level, by the rules of the machine (:mod:`.rules`).

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from typing import Final, TypeAlias

from service.engine.layout.rules import (
    NO_LIMIT,
    Known,
    Piece,
    Refusal,
    Separation,
    cross_ok,
    known_level,
)
from service.engine.machine import Machine
from service.engine.order import Part
from service.engine.plan import Axis, Leaf, Node
from service.engine.quantities import Length, show_mm
from service.engine.tolerance import allowed_deviation

_AXES: Final[tuple[Axis, Axis]] = ("x", "y")

Walked: TypeAlias = dict[int, tuple[Separation, ...]]
"""The separations of every split of a tree, by ``id(split)``."""


def walk(
    machine: Machine,
    node: Node,
    piece: Piece,
    parts: dict[str, Part],
    trim: Length,
    longest: Length | None = None,
    known: Known | None = None,
) -> Walked | Refusal:
    """Try a whole layout tree on a piece: the separations of every split by ``id(split)``.

    Returns the reason, with its place, when some cut cannot be made. `known` as in :func:`known_level`.
    """
    found: Walked = {}
    refusal = _walk(machine, node, piece, parts, trim, longest, found, known)
    return refusal if refusal is not None else found


def _walk(
    machine: Machine,
    node: Node,
    piece: Piece,
    parts: dict[str, Part],
    trim: Length,
    longest: Length | None,
    found: Walked,
    known: Known | None,
) -> Refusal | None:
    if isinstance(node, Leaf):
        return leaf_refused(node, piece, parts)
    axis = node.axis
    breadth = piece.across(axis)
    refused = cross_ok(machine, breadth.size, longest)
    if refused is not None:
        return refused
    sizes = tuple(child.dx if axis == "x" else child.dy for child in node.children)
    # A wanted child that is split along the other axis only may keep mill edges there until then.
    made = known_level(
        machine,
        piece.along(axis),
        sizes,
        tuple([tolerance_along(child, axis, parts) for child in node.children]),
        tuple([needs_good_edges(child, axis) for child in node.children]),
        trim,
        known,
    )
    if isinstance(made, str):
        return made
    found[id(node)] = made
    for child, separation in zip(node.children, made, strict=True):
        if isinstance(child, Leaf) and child.kind != "part":
            continue
        grown = separation.made
        sub = Piece(grown, breadth) if axis == "x" else Piece(breadth, grown)
        refused = _walk(machine, child, sub, parts, trim, longest, found, known)
        if refused is not None:
            return refused
    return None


def leaf_refused(leaf: Leaf, piece: Piece, parts: dict[str, Part]) -> Refusal | None:
    """Why a piece that is cut no further is not what the leaf is to be; None when it is."""
    if leaf.kind != "part":
        return None
    for axis in _AXES:
        extent = piece.along(axis)
        if extent.near_mill or extent.far_mill:
            return f"part {leaf.ref} would keep a mill edge"
        tolerance = tolerance_along(leaf, axis, parts)
        if extent.spread > tolerance:
            return (
                f"part {leaf.ref}: {show_mm(extent.size)} mm would come out within "
                f"±{show_mm(extent.spread)} mm, its tolerance is ±{show_mm(tolerance)} mm"
            )
    return None


def tolerance_along(node: Node, axis: Axis, parts: dict[str, Part]) -> Length:
    """The finest tolerance that the extent of `node` along `axis` must hold.

    It is that of every part which takes its size in that direction from the node itself.
    """
    if isinstance(node, Leaf):
        if node.kind != "part" or node.ref is None:
            return NO_LIMIT
        part = parts[node.ref]
        size = part.length if (axis == "x") != node.rotated else part.width
        return allowed_deviation(part.tolerance, size)
    if node.axis == axis:
        return NO_LIMIT
    return min([tolerance_along(child, axis, parts) for child in node.children])


def needs_good_edges(node: Node, axis: Axis) -> bool:
    """Whether a part inside takes one of its edges across `axis` from the node's own ends."""
    if isinstance(node, Leaf):
        return node.kind == "part"
    if node.axis == axis:
        # Its own level along this axis trims what it must.
        return False
    return any(needs_good_edges(child, axis) for child in node.children)
