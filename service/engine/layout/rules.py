"""Which cuts this machine can make on this piece: the physical limits as one set of rules.

Both the search for layouts and the writing of the program ask here, so that no layout is proposed
which no program can cut. The rules, in the trade's terms:

* Pieces are separated from the datum end of an axis, one after another. A cut that separates an
  item of depth ``s`` leaves a rest of depth ``r``. The side under the hold-downs must reach the
  clamping depth; the side that falls must not be narrower than the smallest drop.
* **Back gauge**: the item falls; ``low ≤ s ≤ high`` and ``r ≥ clamping depth``. A drop that nothing
  carries must not sag so far that it misses the gauge (``BackGauge.meets``, for the sheet at hand), and
  what the sag adds to it counts in its tolerance (``BackGauge.draws_back``).
* **Front stop**: the item is held, its datum edge against the stop, the rest falls; ``s`` in the
  stops' range and ``≥ clamping depth``, ``r ≥ smallest drop``.
* **Marked line**: either side may fall, the other must be held; the deeper side stays in front.
* What falls without being gauged has to pass the back gauge: it is no deeper than the gauge's range,
  unless the gauge can be lifted or swung away.
* On a machine whose gauge cannot back off, a trim is cut to a line, so that it cannot jam.
* **Back gauge from the far end**: the rest falls, gauged; the item keeps what the true size of the
  piece leaves, so its tolerance must bear that.
* **No cut at all**: the item is what is left (``r = 0``); its tolerance must bear the stack-up.
* A mill edge is cut away before it may bound a part, by at least the trim.
* The piece must fit the blade and be gripped by the feet.

A whole layout tree is tried by them in :mod:`.walk`.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

from service.engine.machine import BackGauge, Machine
from service.engine.order import StockItem
from service.engine.plan import Axis, Gauging
from service.engine.quantities import Length, show_mm

NO_LIMIT: Length = 1 << 40
"""Stands for a tolerance nobody asks for."""


class Extent(NamedTuple):
    """One direction of a piece: its size and what bounds it.

    `spread` is how far the true size may lie from the nominal one. A tuple, like :class:`Piece`, as tens of
    thousands are made for one plan.
    """

    size: Length
    near_mill: bool
    far_mill: bool
    spread: Length


class Piece(NamedTuple):
    """A rectangle in the operator's hands, with the state of its edges."""

    x: Extent
    y: Extent

    def along(self, axis: Axis) -> Extent:
        """The extent in the direction of `axis`."""
        return self.x if axis == "x" else self.y

    def across(self, axis: Axis) -> Extent:
        """The extent at right angles to `axis`: along the blade when `axis` is cut."""
        return self.y if axis == "x" else self.x


def stock_piece(item: StockItem, trim: Length) -> Piece:
    """The piece a stock item starts as. With no trim asked for, mill edges count as good edges."""
    mill = item.edges == "mill" and trim > 0
    return Piece(
        Extent(item.length, mill, mill, item.oversize),
        Extent(item.width, mill, mill, item.oversize),
    )


def trim_depth(machine: Machine, trim: Length) -> Length:
    """Depth of a trim cut: the trim asked for, or the least the back gauge can gauge and let fall."""
    return max(trim, machine.back_gauge.low, machine.smallest_drop)


def cross_ok(machine: Machine, breadth: Length, longest: Length | None = None) -> str | None:
    """Why a piece of that size along the blade cannot be cut, or None when it can.

    `longest` is a limit by force, when that is below the cutting length.
    """
    limit = machine.cutting_length if longest is None else min(longest, machine.cutting_length)
    if breadth > limit:
        return f"{show_mm(breadth)} mm along the blade is more than the {show_mm(limit)} mm that can be cut"
    if breadth < machine.hold_down.foot_width:
        return (
            f"{show_mm(breadth)} mm along the blade is narrower than a clamping foot "
            f"({show_mm(machine.hold_down.foot_width)} mm), so the piece cannot be held"
        )
    return None


def nearest_position(gauge: BackGauge, depth: Length) -> Length:
    """The position nearest to a depth at which the back gauge can stand.

    >>> nearest_position(BackGauge(500, 100000, step=10), 2003)
    2000
    """
    step = max(1, gauge.step)
    last = gauge.low + (gauge.high - gauge.low) // step * step
    nearest = gauge.low + (2 * (depth - gauge.low) + step) // (2 * step) * step
    return min(max(nearest, gauge.low), last)


def gauge_error(gauge: BackGauge, depth: Length) -> Length:
    """The ± of a drop of that depth: the gauge's accuracy, how far off its nearest position lies, its sag.

    >>> gauge_error(BackGauge(500, 100000, step=10, accuracy=5), 2003)
    8
    """
    return gauge.accuracy + abs(depth - nearest_position(gauge, depth)) + gauge.gained(depth)


def falls_clear(machine: Machine, depth: Length) -> bool:
    """Whether a drop of that depth that is not gauged gets past the back gauge, and is wide enough."""
    return depth >= machine.smallest_drop and (machine.gauge_clears or depth <= machine.back_gauge.high)


@dataclass(frozen=True, slots=True)
class Cut:
    """One way to separate an item: how it is gauged and which side falls.

    `gauge` is the measured depth; `item_falls` says whether the item is the drop; `from_far`
    whether the measure is taken from the far end. `accuracy` is the ± of the item that results.
    """

    gauging: Gauging
    gauge: Length
    item_falls: bool
    from_far: bool
    accuracy: Length


def separate(
    machine: Machine, extent: Extent, item: Length, tolerance: Length, far_end_min: Length
) -> Cut | str:
    """The best way to separate an item of that depth from the near end, or why there is none.

    Parameters
    ----------
    extent
        What the piece measures in this direction just before the cut; the near edge is good.
    item
        Depth of the item, less than ``extent.size``.
    tolerance
        Largest deviation ± that the item bears (:data:`NO_LIMIT`: any).
    far_end_min
        Least depth of the rest (a far mill edge must come off by the trim at least, when the rest
        is what is left at the end of the level); 0 when nothing is asked.
    """
    rest = extent.size - item
    clamp = machine.hold_down.depth
    gauge = machine.back_gauge
    if rest < max(far_end_min, 1):
        return f"only {show_mm(rest)} mm would be left beyond the item, {show_mm(far_end_min)} mm is wanted"
    reasons: list[str] = []

    rest_held = rest >= clamp
    item_held = item >= clamp
    if not gauge.low <= item <= gauge.high:
        reasons.append(
            f"{show_mm(item)} mm is outside the back gauge's {show_mm(gauge.low)} to {show_mm(gauge.high)} mm"
        )
    elif item > gauge.deepest:
        reasons.append(
            f"a drop of {show_mm(item)} mm sags too far to be gauged without a sheet support; the back gauge "
            f"meets drops of up to {show_mm(gauge.deepest)} mm of this sheet"
        )
    elif item < machine.smallest_drop:
        reasons.append(f"a drop of {show_mm(item)} mm is below the smallest drop")
    elif not rest_held:
        reasons.append(
            f"the {show_mm(rest)} mm left in front would not reach the clamping depth of {show_mm(clamp)} mm"
        )
    elif gauge_error(gauge, item) > tolerance:
        near, gained = nearest_position(gauge, item), gauge.gained(item)
        reasons.append(
            f"it sags without a sheet support and is cut {show_mm(gained)} mm too long, of the "
            f"±{show_mm(tolerance)} mm of its tolerance"
            if gained and gauge_error(gauge, item) - gained <= tolerance
            else f"its tolerance of ±{show_mm(tolerance)} mm is finer than the back gauge"
            if near == item or gauge.accuracy > tolerance
            else f"the back gauge moves in steps of {show_mm(gauge.step)} mm and stands at "
            f"{show_mm(near)} mm at the nearest, beyond its tolerance of ±{show_mm(tolerance)} mm"
        )
    else:
        return Cut("back gauge", item, True, False, gauge_error(gauge, item))

    stops = machine.front_stops
    rest_falls = falls_clear(machine, rest)
    if item_held and not rest_falls and rest > gauge.high:
        reasons.append(f"the {show_mm(rest)} mm beyond it would not get past the back gauge")
    if stops is not None and item_held and rest_falls:
        if not stops.low <= item <= stops.high:
            reasons.append(f"it is outside the front stops' {show_mm(stops.low)} to {show_mm(stops.high)} mm")
        elif stops.accuracy > tolerance:
            reasons.append(f"its tolerance of ±{show_mm(tolerance)} mm is finer than the front stops")
        else:
            return Cut("front stop", item, False, False, stops.accuracy)

    left_over = extent.spread + gauge_error(gauge, rest)
    if (
        item_held
        and gauge.low <= rest <= gauge.deepest
        and rest >= machine.smallest_drop
        and left_over <= tolerance
        and not extent.far_mill
    ):
        return Cut("back gauge", rest, False, True, left_over)

    line = machine.marked_line_accuracy
    if line is not None:
        if line > tolerance:
            reasons.append(f"its tolerance of ±{show_mm(tolerance)} mm is finer than a marked line")
        else:
            falls = rest_held and falls_clear(machine, item)
            stays = item_held and rest_falls
            if falls or stays:
                return Cut("marked line", item, falls and not (stays and item > rest), False, line)
    if not item_held and not rest_held:
        reasons.append("neither side of the cut could be clamped")
    return "; ".join(reasons)


@dataclass(frozen=True, slots=True)
class Separation:
    """One child of a split as it is made: `cut` is None for the one that is simply left."""

    index: int
    cut: Cut | None
    made: Extent


Refusal: TypeAlias = str

Known: TypeAlias = (
    "dict[tuple[Extent, tuple[Length, ...], tuple[Length, ...], tuple[bool, ...]], "
    "tuple[Separation, ...] | Refusal]"
)
"""What came of levels of one machine and trim, by what they were asked for."""


def level(
    machine: Machine,
    extent: Extent,
    sizes: tuple[Length, ...],
    tolerances: tuple[Length, ...],
    wanted: tuple[bool, ...],
    trim: Length,
) -> tuple[Separation, ...] | Refusal:
    """Carry out a split: every child is separated in turn from the near end.

    Parameters
    ----------
    extent
        The piece in the direction of the split.
    sizes
        Depth of each child in order of position; they add up to ``extent.size``. When the near
        edge is a mill edge the first child must be the trim.
    tolerances
        Largest deviation each child bears; :data:`NO_LIMIT` for waste.
    wanted
        False for trim, scrap and offcuts, whose edges may be mill edges and whose sizes are free.
    trim
        Trim asked for on mill edges.

    Returns
    -------
    A :class:`Separation` a child, or the reason why the split cannot be made.
    """
    if sum(sizes) != extent.size:
        return "the children do not fill the piece"
    made: list[Separation] = []
    rest = extent
    for index, size in enumerate(sizes):
        last = index == len(sizes) - 1
        if wanted[index] and rest.near_mill:
            return "a mill edge would bound a part: a trim cut is missing"
        if last:
            if wanted[index] and rest.far_mill:
                return "the far mill edge would bound a part: it must be cut off"
            if rest.spread > tolerances[index]:
                return (
                    f"the last {show_mm(size)} mm would carry ±{show_mm(rest.spread)} mm of the true size "
                    f"and the cuts before it, its tolerance is ±{show_mm(tolerances[index])} mm"
                )
            made.append(Separation(index, None, rest))
            break
        ends_here = index == len(sizes) - 2 and not wanted[-1]
        far_end_min = trim if ends_here and rest.far_mill else 0
        cut = separate(machine, rest, size, tolerances[index], far_end_min)
        if isinstance(cut, str):
            return cut
        if index == 0 and rest.near_mill and not wanted[index]:
            cut = _trim_cut(machine, cut)
        error = cut_error(machine, cut)
        if rest.near_mill and not cut.from_far:
            # A mill edge is not straight: what the trim is meant to take off is how far one can be out.
            error += trim
        spread = cut.accuracy if cut.from_far else error
        made.append(Separation(index, cut, Extent(size, rest.near_mill, False, spread)))
        # What is left carries the error of every cut so far, unless it is what was gauged.
        left = error if cut.from_far else rest.spread + error
        rest = Extent(rest.size - size, False, rest.far_mill, left)
    return tuple(made)


def cut_error(machine: Machine, cut: Cut) -> Length:
    """The ± that this cut alone adds, whichever side it measures."""
    return gauge_error(machine.back_gauge, cut.gauge) if cut.from_far else cut.accuracy


def _trim_cut(machine: Machine, cut: Cut) -> Cut:
    """A trim to a marked line where the gauge cannot back off and so could jam the narrow drop."""
    line = machine.marked_line_accuracy
    if cut.gauging != "back gauge" or machine.relief or line is None:
        return cut
    return Cut("marked line", cut.gauge, cut.item_falls, cut.from_far, line)


def known_level(
    machine: Machine,
    extent: Extent,
    sizes: tuple[Length, ...],
    tolerances: tuple[Length, ...],
    wanted: tuple[bool, ...],
    trim: Length,
    known: Known | None,
) -> tuple[Separation, ...] | Refusal:
    """As :func:`level`; with `known`, each question for this machine and trim is answered once."""
    if known is None:
        return level(machine, extent, sizes, tolerances, wanted, trim)
    key = extent, sizes, tolerances, wanted
    made = known.get(key)
    if made is None:
        made = known[key] = level(machine, extent, sizes, tolerances, wanted, trim)
    return made
