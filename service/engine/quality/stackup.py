"""Every part of a layout with the errors of all the cuts that bound it.

The cuts are those that :mod:`~service.engine.layout.rules` finds for the layout, the very ones that the
program is written from. Pieces that look alike are cut together and cannot be told apart, so each part
of a kind may be the worst of them.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from service.engine.layout import rules
from service.engine.layout.rules import Cut, Piece, Separation
from service.engine.layout.walk import Walked, walk
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import Part, StockItem
from service.engine.plan import Axis, Layout, Node, PartGauging, Split
from service.engine.quality.errors import Errors, accurate, evenly
from service.engine.quantities import PER_MM, Length
from service.engine.sag import length_gained, with_sheet
from service.engine.settings import SAG_LIMIT_MM


@dataclass(frozen=True, slots=True)
class Side:
    """One direction of a piece that is being cut up.

    Attributes
    ----------
    gauged
        How its size came about.
    errors
        Of its true size.
    fell
        Whether it was cut off as a drop.
    gained
        What the sag of the drop, unsupported, adds to it.
    """

    gauged: PartGauging
    errors: Errors
    fell: bool = False
    gained: Length = 0


@dataclass(frozen=True, slots=True)
class Bounded:
    """A part, or several alike, in one direction: its worst ± and how it comes about."""

    ref: str
    axis: Axis
    rotated: bool
    size: Length
    spread: Length
    side: Side


@dataclass(frozen=True, slots=True)
class _Blade:
    """The machine and what is on it."""

    machine: Machine
    material: Material
    thickness: Length
    trim: Length


def bounded_parts(
    machine: Machine,
    material: Material,
    layout: Layout,
    item: StockItem,
    parts: Mapping[str, Part],
    trim: Length,
) -> Counter[Bounded]:
    """Both directions of each part of a layout and how many there are, in the order of the tree.

    Raises
    ------
    ValueError
        When the machine cannot cut the layout.
    """
    piece = rules.stock_piece(item, trim)
    machine = with_sheet(machine, material, layout.thickness)
    walked = walk(machine, layout.tree, piece, dict(parts), trim)
    if isinstance(walked, str):
        raise ValueError(f"layout {layout.number} cannot be cut: {walked}")
    as_delivered = Side("stock size", evenly(0, item.oversize))
    sides: dict[Axis, Side] = {"x": as_delivered, "y": as_delivered}
    blade = _Blade(machine, material, layout.thickness, trim)
    found = Counter(_parts(blade, layout.tree, piece, sides, walked))
    return Counter({one: count * layout.repeat for one, count in found.items()})


def _parts(
    blade: _Blade, node: Node, piece: Piece, sides: Mapping[Axis, Side], walked: Walked
) -> Iterator[Bounded]:
    if not isinstance(node, Split):
        if node.kind == "part" and node.ref is not None:
            for axis, side in sides.items():
                extent = piece.along(axis)
                yield Bounded(node.ref, axis, node.rotated, extent.size, extent.spread, side)
        return
    axis = node.axis
    made = walked[id(node)]
    cut_sides = _level(blade, piece, axis, sides[axis], made)
    for separation, side in zip(made, cut_sides, strict=True):
        sub = piece._replace(x=separation.made) if axis == "x" else piece._replace(y=separation.made)
        child = node.children[separation.index]
        yield from _parts(blade, child, sub, {**sides, axis: side}, walked)


def _level(
    blade: _Blade, piece: Piece, axis: Axis, whole: Side, made: tuple[Separation, ...]
) -> Iterator[Side]:
    """The sides of the children of a split, following the cuts in their order."""
    rest, near_mill = whole, piece.along(axis).near_mill
    for separation in made:
        cut = separation.cut
        if cut is None:
            yield rest
            return
        error, gained = _of_cut(blade, cut)
        if near_mill and not cut.from_far:
            error = error.plus(evenly(-blade.trim, blade.trim))
        if cut.from_far:
            yield Side("remainder", rest.errors.less(error), gained=-gained)
            rest = Side(cut.gauging, error, fell=True, gained=gained)
        else:
            yield Side(cut.gauging, error, cut.item_falls, gained)
            rest = Side("remainder", rest.errors.less(error), not cut.item_falls)
        near_mill = False


def _of_cut(blade: _Blade, cut: Cut) -> tuple[Errors, Length]:
    """The error of the measured side of a cut, and how much of it is sag."""
    machine = blade.machine
    if cut.gauging != "back gauge":
        return accurate(rules.cut_error(machine, cut)), 0
    support = (SAG_LIMIT_MM, machine.back_gauge.accuracy / PER_MM) if machine.sheet_support else None
    gained = length_gained(blade.material, blade.thickness, cut.gauge, support)
    off = rules.nearest_position(machine.back_gauge, cut.gauge) - cut.gauge
    accuracy = machine.back_gauge.accuracy
    return accurate(accuracy, off + gained), gained
