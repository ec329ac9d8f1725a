"""Sheets with mill edges cut up in one direction: their two ends come off first, for all strips at once.

Strips as long as the sheet keep its mill edges at both ends. To cut these off the whole sheet takes two
cuts in the other direction, which are no direction of cutting, as what falls is no part and is not kept.
The first is a trim; the second is one too, or scrap where the strips leave more than a trim takes off.
Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from service.engine.layout import rules
from service.engine.layout.kinds import Variant
from service.engine.layout.levels import Entry
from service.engine.layout.rules import Piece
from service.engine.layout.shapes import OTHER
from service.engine.layout.tree import Builder, Region, places
from service.engine.machine import Machine
from service.engine.plan import Axis, Node, Split
from service.engine.quantities import Length


def strip_lengths(
    machine: Machine,
    piece: Piece,
    axis: Axis,
    variants: Sequence[Variant],
    trim: Length,
    offcut_min: tuple[Length, Length],
) -> tuple[Length, ...]:
    """How long the strips of a sheet may be that is slit along `axis`, longest first.

    As long as some part that leaves a trim at the far end and nothing there that the rack would take.
    """
    extent, breadth = piece.across(axis), piece.along(axis).size
    if not extent.far_mill:
        return ()
    start = rules.trim_depth(machine, trim) if extent.near_mill else 0
    found = set()
    for v in variants:
        length = v.along(OTHER[axis])
        rest = extent.size - start - length
        kept = max(rest, breadth) >= max(offcut_min) and min(rest, breadth) >= min(offcut_min)
        if rest >= max(trim, 1) and not kept and v.along(axis) <= breadth:
            found.add(length)
    return tuple(sorted(found, reverse=True))


def without_ends(
    builder: Builder, piece: Piece, axis: Axis, length: Length, fill: Callable[[Region], Node | None]
) -> Node | None:
    """A sheet whose ends are trimmed to that length of strips, and the rest of it as `fill` makes it.

    None when the ends cannot be cut off, or nothing is made of the rest.
    """
    across = OTHER[axis]
    whole = Region(piece)
    alike = [v for v in builder.filler.variants if v.along(across) == length]
    for tolerance in sorted({v.tolerance(across) for v in alike}):
        arranged = builder.arranged(piece.along(across), [Entry(length, tolerance, True, ())])
        if arranged is None or len(arranged.before) > arranged.trimmed or not arranged.rest:
            continue
        ((_, at, made),) = places(arranged)
        body = fill(whole.part(across, at, made))
        if body is None:
            continue
        nodes: list[Node] = [body]
        if at:
            nodes.insert(0, builder.waste("trim", whole.part(across, 0, arranged.made[0].made)))
        beyond = whole.part(across, at + length, arranged.extent_of(1))
        deep = arranged.extent_of(1).size > rules.trim_depth(builder.machine, builder.trim)
        nodes.append(builder.waste("scrap" if deep else "trim", beyond))
        return Split(across, 0, 0, piece.x.size, piece.y.size, tuple(nodes))
    return None
