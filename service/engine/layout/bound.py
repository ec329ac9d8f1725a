"""How good the material use can be at best: lower bounds that hold whatever the method.

Each function states why it holds. All take the ideal case (no clamping, any number of stages), so
that they hold for every machine. Lengths are whole hundredths of a millimetre, areas their squares.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from service.engine.layout.cover import cover_cost, whole_cost
from service.engine.layout.dual import Measure, measures
from service.engine.layout.job import Division, Job
from service.engine.layout.kinds import Kind, kinds_of
from service.engine.layout.prices import ANY_LEVELS, price_bound
from service.engine.layout.stock import StockType, price_scale, stock_types
from service.engine.plan import Bound
from service.engine.quantities import Length

_PER_MM2 = 10_000
_WHOLE = 4
"""Measures of which whole pieces are asked for: those that say most in fractions."""


@dataclass(frozen=True, slots=True)
class Least:
    """Least pieces, area [(0.01 mm)²] and cost (in the unit of the stock types), and by which argument."""

    pieces: int
    area: int
    cost: int
    method: str


def usable(stock: StockType, trim: Length) -> tuple[Length, Length]:
    """The part of a stock piece, along x and along y, that can become parts.

    Proof: no part keeps a mill edge, and a mill edge comes off by at least the trim, at each end.
    """
    sides = []
    for size, extent in ((stock.length, stock.piece.x), (stock.width, stock.piece.y)):
        cut = (trim if extent.near_mill else 0) + (trim if extent.far_mill else 0)
        sides.append(max(size - cut, 0))
    return sides[0], sides[1]


def cover_pieces(holds: Sequence[tuple[int, int, int]], wanted: int) -> int:
    """Fewest pieces that hold `wanted`; `holds` as in :func:`.cover.cover_cost`.

    Proof: n pieces hold at most what the n largest capacities hold.

    >>> cover_pieces([(10, 10, 2), (4, 5, 9)], 25)
    4
    """
    left, pieces = wanted, 0
    for capacity, quantity in sorted(((h, n) for h, _, n in holds if h > 0), reverse=True):
        if left <= 0:
            break
        take = min(quantity, -(-left // capacity))
        pieces += take
        left -= take * capacity
    return pieces


def cheapest(costs: Sequence[tuple[int, int]], pieces: int) -> int:
    """Cost of that many pieces, the cheapest first; `costs`: (cost, quantity).

    Proof: a plan that uses at least so many pieces pays at least for the cheapest so many.
    """
    left, cost = pieces, 0
    for each, quantity in sorted(costs):
        take = min(left, quantity)
        cost += take * each
        left -= take
    return cost


def apart(kinds: Sequence[Kind], counts: Sequence[int], whole: tuple[Length, Length]) -> int:
    """Pieces needed for parts of which no two fit on one sheet of that usable size.

    Proof: two rectangles lie on one sheet only beside or above each other, so they do not when, in
    every way they may be turned, both their sizes along x and their sizes along y add up to more
    than the sheet. Parts that exclude each other pairwise need a sheet each. They are gathered
    greedily, largest first.
    """
    chosen: list[Kind] = []
    pieces = 0
    for kind, count in zip(kinds, counts, strict=True):
        if count and not any(_share(kind, other, whole) for other in chosen):
            chosen.append(kind)
            pieces += 1 if _share(kind, kind, whole) else count
    return pieces


def _share(a: Kind, b: Kind, whole: tuple[Length, Length]) -> bool:
    return any(v.dx + w.dx <= whole[0] or v.dy + w.dy <= whole[1] for v in a.variants for w in b.variants)


def least_of(
    kinds: Sequence[Kind],
    counts: Sequence[int],
    types: Sequence[StockType],
    trim: Length,
    prices: Sequence[int] = (),
    levels: int = ANY_LEVELS,
) -> Least:
    """The best of all bounds for that many pieces of each kind.

    `prices`, one a kind, are any worths found by a search; good ones give a good bound, and none can
    give a wrong one (:func:`.prices.price_bound`). `levels` is how many levels of cuts there may be.
    """
    if not any(counts):
        return Least(0, 0, 0, "no piece has a place")
    room = [usable(t, trim) for t in types]
    whole = (max((r[0] for r in room), default=0), max((r[1] for r in room), default=0))
    best = Least(0, 0, 0, "area")
    live = [(kind, n) for kind, n in zip(kinds, counts, strict=True) if n]
    most = max(4, min(32, 1200 // len(live), 160 // len(types)))
    along_x = measures(whole[0], {v.dx for kind, _ in live for v in kind.variants}, most)
    along_y = measures(whole[1], {v.dy for kind, _ in live for v in kind.variants}, most)
    by_x = [
        _table(f, [[v.dx for v in kind.variants] for kind, _ in live], [r[0] for r in room]) for f in along_x
    ]
    by_y = [
        _table(g, [[v.dy for v in kind.variants] for kind, _ in live], [r[1] for r in room]) for g in along_y
    ]
    numbers = [n for _, n in live]
    told: list[tuple[int, int, list[tuple[int, int, int]]]] = []
    for i, (parts_x, stock_x) in enumerate(by_x):
        for j, (parts_y, stock_y) in enumerate(by_y):
            wanted = 0
            for n, xs, ys in zip(numbers, parts_x, parts_y, strict=True):
                # The part may be turned as suits the plan: only the least it counts is sure.
                wanted += n * min([a * b for a, b in zip(xs, ys, strict=True)])
            holds = [(a * b, t.cost, t.quantity) for a, b, t in zip(stock_x, stock_y, types, strict=True)]
            pieces = cover_pieces(holds, wanted)
            cost = cover_cost(holds, wanted)
            area = cover_cost([(h, t.area, n) for (h, _, n), t in zip(holds, types, strict=True)], wanted)
            method = "area" if i == 0 and j == 0 else "sizes that do not fit together"
            best = _better(best, Least(pieces, area, cost, method), types)
            told.append((cost, wanted, holds))
    best = _better(best, _in_whole_pieces(told, types, best.method), types)
    best = _better(best, Least(apart(kinds, counts, whole), 0, 0, "parts that exclude each other"), types)
    if prices:
        return with_prices(best, kinds, counts, types, trim, prices, levels)
    return _agreed(best, types)


def _in_whole_pieces(
    told: Sequence[tuple[int, int, list[tuple[int, int, int]]]], types: Sequence[StockType], method: str
) -> Least:
    """What the plain areas, and the measures that say most in fractions, say of whole pieces.

    `told`: (cost in fractions, wanted, what each type holds) by measure, the plain areas first.
    """
    cost = area = 0
    for _, wanted, holds in [told[0], *sorted(told[1:], key=lambda one: -one[0])[:_WHOLE]]:
        cost = max(cost, whole_cost(holds, wanted))
        sizes = [(h, t.area, n) for (h, _, n), t in zip(holds, types, strict=True)]
        area = max(area, whole_cost(sizes, wanted))
    return Least(0, area, cost, method)


def with_prices(
    least: Least,
    kinds: Sequence[Kind],
    counts: Sequence[int],
    types: Sequence[StockType],
    trim: Length,
    prices: Sequence[int],
    levels: int = ANY_LEVELS,
) -> Least:
    """A bound raised, where it can be, by what the parts are worth; arguments as of :func:`least_of`."""
    room = [usable(t, trim) for t in types]
    cost = price_bound(kinds, counts, types, room, prices, levels, least.cost)
    return raised(least, cost, types)


def raised(least: Least, cost: int, types: Sequence[StockType]) -> Least:
    """A bound raised by a cost that the worth of the parts proves."""
    return _agreed(_better(least, Least(0, 0, cost, "prices of the parts"), types), types)


def _table(
    f: Measure, parts: Sequence[Sequence[Length]], stock: Sequence[Length]
) -> tuple[list[list[int]], list[int]]:
    return [[f(size) for size in sizes] for sizes in parts], [f(size) for size in stock]


def _better(a: Least, b: Least, types: Sequence[StockType]) -> Least:
    """The larger of each; the method changes only where whole pieces then tell a difference."""
    if b.pieces <= a.pieces and b.area <= a.area and b.cost <= a.cost:
        return a
    both = Least(max(a.pieces, b.pieces), max(a.area, b.area), max(a.cost, b.cost), b.method)
    before, after = _agreed(a, types), _agreed(both, types)
    gains = (after.pieces, after.area, after.cost) != (before.pieces, before.area, before.cost)
    return both if gains else replace(both, method=a.method)


def _agreed(least: Least, types: Sequence[StockType]) -> Least:
    """The three bounds brought to bear on each other: so many pieces cost at least so much, and back.

    Areas and costs are raised to what whole pieces of stock can come to.
    """
    pieces, area, cost = least.pieces, least.area, least.cost
    areas = [(t.area, t.cost, t.quantity) for t in types]
    costs = [(t.cost, t.area, t.quantity) for t in types]
    area = max(area, cover_cost(costs, cost))
    cost = max(cost, cover_cost(areas, area))
    pieces = max(pieces, cover_pieces(costs, cost), cover_pieces(areas, area))
    area = max(area, cheapest([(t.area, t.quantity) for t in types], pieces))
    cost = max(cost, cheapest([(t.cost, t.quantity) for t in types], pieces))
    return Least(
        pieces,
        _sum(area, [(t.area, t.quantity) for t in types]),
        _sum(cost, [(t.cost, t.quantity) for t in types]),
        least.method,
    )


def _sum(least: int, each: Sequence[tuple[int, int]]) -> int:
    """The next amount from `least` up that whole pieces come to; `each`: (of one piece, how many)."""
    return whole_cost([(amount, amount, n) for amount, n in each], least)


def bound_levels(stages: int) -> int:
    """Levels of cuts of a table that bounds plans of so many stages.

    Strips of one stage may be shorter than what the trims leave, which a table takes for a level more.
    """
    return max(stages, 2)


def lower_bound(
    job: Job,
    placed: Mapping[str, int],
    divisions: Sequence[Division],
    prices: Sequence[int] = (),
    *,
    known: Least | None = None,
) -> Bound:
    """The bound for the parts that were placed, and how far `divisions` lie above it.

    `placed` gives the pieces placed of each part's reference; `prices` as in :func:`least_of`, for
    the kinds of :func:`kinds_of`. `known` is what :func:`least_of` gave for just these, if it was asked.
    """
    types = stock_types(job.stock, job.options.trim)
    kinds = kinds_of(job.parts)
    counts = [sum(placed.get(ref, 0) for ref, _, _ in kind.wanted) for kind in kinds]
    levels = bound_levels(job.options.max_stages)
    least = known or least_of(kinds, counts, types, job.options.trim, prices, levels)
    by_ref = {item.ref: item for item in job.stock}
    used_pieces = sum(d.repeat for d in divisions)
    used_area = sum(d.repeat * by_ref[d.stock_ref].length * by_ref[d.stock_ref].width for d in divisions)
    usable_items = [item for item in job.stock if item.quantity > 0]
    cost: float | None = None
    used, floor = used_area, least.area
    if usable_items and all(item.price is not None for item in usable_items):
        scale = price_scale(usable_items)
        # Stock that is all free was counted by its area.
        floor = least.cost if any(item.price for item in usable_items) else 0
        paid = sum(d.repeat * int(Fraction(str(by_ref[d.stock_ref].price)) * scale) for d in divisions)
        cost = float(Fraction(floor, scale))
        # Where free stock might do, a share of nothing tells nothing, and areas are compared.
        used, floor = (paid, floor) if floor or not paid else (used_area, least.area)
    share = float(Fraction(used - floor, floor)) if floor > 0 else 0.0
    return Bound(least.pieces, least.area / _PER_MM2, cost, used_pieces - least.pieces, share, least.method)
