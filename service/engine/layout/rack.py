"""In what state an offcut goes back to the rack: what it keeps of the sheet that it was part of.

Where it was not cut it has the sheet's mill edge, and what was left over carries the sheet's true size
and the errors of the cuts before it. The next plan needs both: it must trim, and must not take the
nominal size for the true one.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from service.engine.layout.rules import Piece, stock_piece
from service.engine.layout.walk import Walked, walk
from service.engine.order import Edges, Order
from service.engine.plan import Layout, Leaf, Node
from service.engine.quantities import Length
from service.engine.sag import with_sheet


@dataclass(frozen=True, slots=True)
class RackState:
    """Edges of a piece on the rack, and how far its true size may lie from the nominal one."""

    edges: Edges
    oversize: Length


def offcut_state(order: Order, layout: Layout, dx: Length, dy: Length) -> RackState:
    """State of the offcuts of one size that a layout leaves; of the worst of them.

    Parameters
    ----------
    order
        The order of the plan.
    layout
        One of its layouts.
    dx, dy
        Size of the offcut in the directions of the sheet.

    Raises
    ------
    KeyError
        When the order does not carry the stock of the layout.
    """
    stock = {item.ref: item for item in order.stock}[layout.stock_ref]
    trim = order.options.trim
    parts = {part.ref: part for part in order.parts}
    piece = stock_piece(stock, trim)
    machine = with_sheet(order.machine, order.material(layout.material), layout.thickness)
    walked = walk(machine, layout.tree, piece, parts, trim)
    if isinstance(walked, str):
        # Planned by other rules than ours: nothing is known but what the sheet was.
        return RackState(stock.edges, stock.oversize + trim)
    left = [
        (leaf, inside)
        for leaf, inside in _ends(layout.tree, piece, walked)
        if leaf.kind == "offcut" and (leaf.dx, leaf.dy) == (dx, dy)
    ]
    extents = [extent for _, inside in left for extent in (inside.x, inside.y)]
    outline = layout.tree
    uncut = any(
        leaf.x == outline.x
        or leaf.y == outline.y
        or leaf.x + leaf.dx == outline.x + outline.dx
        or leaf.y + leaf.dy == outline.y + outline.dy
        for leaf, _ in left
    )
    return RackState(
        "mill" if uncut and stock.edges == "mill" else "cut",
        max((extent.spread for extent in extents), default=stock.oversize + trim),
    )


def _ends(node: Node, piece: Piece, walked: Walked) -> Iterator[tuple[Leaf, Piece]]:
    if isinstance(node, Leaf):
        yield node, piece
        return
    for child, separation in zip(node.children, walked[id(node)], strict=True):
        made = separation.made
        inside = Piece(made, piece.y) if node.axis == "x" else Piece(piece.x, made)
        yield from _ends(child, inside, walked)
