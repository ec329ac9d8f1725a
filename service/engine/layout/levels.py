"""How much room one level of cuts leaves for wanted pieces, and in which order they are separated.

The search needs a quick answer thousands of times; the answer it gives is always checked again with
:mod:`service.engine.layout.rules` before a layout is accepted. Lengths are whole hundredths of a
millimetre.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from service.engine.layout import rules
from service.engine.layout.rules import Extent, Separation
from service.engine.machine import Machine
from service.engine.quantities import Length


def separable(machine: Machine, extent: Extent, item: Length, tolerance: Length, end_min: Length) -> bool:
    """Whether :func:`rules.separate` would find a cut; the same rules without the wording.

    `extent`, `item`, `tolerance` and `end_min` are as there.
    """
    rest = extent.size - item
    if rest < 1 or rest < end_min:
        return False
    clamp = machine.hold_down.depth
    gauge = machine.back_gauge
    smallest = machine.smallest_drop
    rest_held = rest >= clamp
    item_falls = item >= smallest
    if (
        rest_held
        and item_falls
        and gauge.low <= item <= gauge.deepest
        and rules.gauge_error(gauge, item) <= tolerance
    ):
        return True
    item_held = item >= clamp and rules.falls_clear(machine, rest)
    if item >= clamp:
        stops = machine.front_stops
        if (
            item_held
            and stops is not None
            and stops.low <= item <= stops.high
            and stops.accuracy <= tolerance
        ):
            return True
        if (
            gauge.low <= rest <= gauge.deepest
            and rest >= smallest
            and not extent.far_mill
            and extent.spread + rules.gauge_error(gauge, rest) <= tolerance
        ):
            return True
    line = machine.marked_line_accuracy
    if line is None or line > tolerance:
        return False
    return (rest_held and rules.falls_clear(machine, item)) or item_held


@dataclass(frozen=True, slots=True)
class Level:
    """One direction of a piece that is about to be divided.

    Attributes
    ----------
    start
        Depth of the trim cut at the near end, 0 when the edge is good.
    room
        What is left for items and the rest.
    reserve
        With a rest at least this deep every item within the gauge's range can fall behind.
    """

    machine: Machine
    extent: Extent
    start: Length
    room: Length
    reserve: Length
    end_min: Length

    @staticmethod
    def of(machine: Machine, extent: Extent, trim: Length) -> Level:
        """The level that divides `extent`."""
        start = rules.trim_depth(machine, trim) if extent.near_mill else 0
        end_min = trim if extent.far_mill else 0
        reserve = max(machine.hold_down.depth, end_min, 1)
        return Level(machine, extent, start, extent.size - start, reserve, end_min)

    def ends_well(self, rest: Length, last: Length, tolerance: Length, cuts: int) -> bool:
        """Whether an item of depth `last` may be the last one before a rest of that depth.

        `cuts` were made at this level before it; each adds the gauge's error to what is left.
        """
        spread = self.extent.spread + cuts * self.machine.back_gauge.accuracy
        if rest == 0:
            return not self.extent.far_mill and spread <= tolerance
        left = Extent(last + rest, False, self.extent.far_mill, spread)
        if separable(self.machine, left, last, tolerance, self.end_min):
            return True
        *aside, kept = surplus(self.machine, rest, self.end_min)
        if not aside:
            return False
        spread += len(aside) * self.machine.back_gauge.accuracy
        left = Extent(last + kept, False, self.extent.far_mill, spread)
        return separable(self.machine, left, last, tolerance, self.end_min)

    def only_last(self, item: Length, tolerance: Length) -> bool:
        """Whether an item can be separated only when no further item lies beyond it.

        So it is with an item that neither the back gauge nor a stop nor a line can measure.
        """
        deep = Extent(item + rules.NO_LIMIT, False, self.extent.far_mill, self.extent.spread)
        return not separable(self.machine, deep, item, tolerance, self.end_min)


def surplus(machine: Machine, rest: Length, end_min: Length) -> tuple[Length, ...]:
    """How what no part needs is parted where it would not get past the back gauge in one piece.

    The last of the pieces is what falls behind the last item; the others are dropped before all items, as
    large as the gauge goes, and each is one that it can measure. `end_min` is the least that the last must
    be. One piece is the answer where the rest passes as it is, or cannot be parted so.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Rake, Rating
    >>> shear = Machine("a", "A", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 100),
    ...                 BackGauge(500, 85000), HoldDown(4500))
    >>> surplus(shear, 129200, 800), surplus(shear, 85300, 800), surplus(shear, 80000, 800)
    ((85000, 44200), (84500, 800), (80000,))
    """
    gauge = machine.back_gauge
    if machine.gauge_clears or rest <= gauge.high:
        return (rest,)
    drop = max(gauge.low, machine.smallest_drop)
    least = max(machine.smallest_drop, end_min, 1)
    pieces: list[Length] = []
    while rest > gauge.high:
        piece = rules.nearest_position(gauge, min(gauge.deepest, rest - least))
        if rest - piece < least or piece > gauge.deepest:
            piece -= max(gauge.step, 1)
        if piece < drop:
            return (rest + sum(pieces),)
        pieces.append(piece)
        rest -= piece
    return (*pieces, rest)


class Entry(NamedTuple):
    """A child of a level: depth, the deviation it bears, whether a part needs its edges, what it holds.

    `content` is only compared: children with equal content are laid side by side.
    """

    size: Length
    tolerance: Length
    wanted: bool
    content: tuple[int, ...]


_WASTE: Final = Entry(0, rules.NO_LIMIT, False, ())


@dataclass(frozen=True, slots=True)
class Arranged:
    """A level that can be cut: order of the entries, what becomes of each, and the rest.

    Attributes
    ----------
    before
        Depths of what is cut away before the entries: the trim of a mill edge, or what would not get past
        the gauge behind them.
    trimmed
        Whether the first of these is a trim.
    """

    order: tuple[int, ...]
    before: tuple[Length, ...]
    trimmed: bool
    made: tuple[Separation, ...]
    rest: Length

    def extent_of(self, place: int) -> Extent:
        """What the entry at that place of the order becomes (the rest: the place after the last)."""
        return self.made[place + len(self.before)].made


def arrange(
    machine: Machine,
    extent: Extent,
    entries: Sequence[Entry],
    trim: Length,
    rest_entry: Entry | None = None,
    known: rules.Known | None = None,
) -> Arranged | str:
    """Order the children of a level so that the machine can separate them, large and equal ones first.

    Parameters
    ----------
    machine, extent, trim
        As in :func:`rules.level`.
    entries
        The children; the trim and the rest are added here.
    rest_entry
        What the rest is, when parts are cut from it too; None: waste.
    known
        As in :func:`rules.known_level`.

    Returns
    -------
    The order with its separations, or the reason why the first order tried cannot be cut.
    """
    start = rules.trim_depth(machine, trim) if extent.near_mill else 0
    rest = extent.size - start - sum(entry.size for entry in entries)
    if rest < 0:
        return "the items are deeper than the piece"
    why: str | None = None
    end_min = trim if extent.far_mill else 0
    trims = (start,) if start else ()
    ways: list[tuple[tuple[Length, ...], Length]] = [(trims, rest)]
    *aside, kept = surplus(machine, start + rest, end_min) if rest_entry is None else (rest,)
    if aside and aside[0] > start:
        # The first of them takes the mill edge along.
        ways.append((tuple(aside), kept))
    for before, left in ways:
        tail = [] if left == 0 else [_WASTE if rest_entry is None else rest_entry]
        for order in _orders(entries):
            rows = [
                *((depth, rules.NO_LIMIT, False) for depth in before),
                *((entries[i].size, entries[i].tolerance, entries[i].wanted) for i in order),
                *((left, one.tolerance, one.wanted) for one in tail),
            ]
            sizes, tolerances, wanted = zip(*rows, strict=True)
            made = rules.known_level(machine, extent, sizes, tolerances, wanted, trim, known)
            if not isinstance(made, str):
                trimmed = bool(start) and before[0] == start
                return Arranged(order, before, trimmed, made, left)
            why = why or made
    return why or "there is nothing to cut"


def _orders(entries: Sequence[Entry]) -> Iterator[tuple[int, ...]]:
    """Orders worth trying: large first; then each size in turn as the last one; then small first."""
    base = sorted(range(len(entries)), key=lambda i: (-entries[i].size, entries[i].content, i))
    yield tuple(base)
    seen = {(entries[base[-1]].size, entries[base[-1]].tolerance)} if base else set()
    # Coarse tolerances bear the stack-up best, deep items are the easiest to hold.
    for i in sorted(base, key=lambda i: (-entries[i].tolerance, -entries[i].size, i)):
        key = (entries[i].size, entries[i].tolerance)
        if key not in seen:
            seen.add(key)
            yield (*(j for j in base if j != i), i)
            if len(seen) > 6:
                break
    if len(seen) > 1:
        yield tuple(reversed(base))
