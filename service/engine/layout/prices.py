"""A bound from prices: what the parts are worth against the most that a piece of stock can hold.

Gilmore & Gomory's dual of the cutting stock problem (Operations Research 13, 1965), the most that a
piece can hold from an exact table (:mod:`.grid`). Where cuts can lie at too many places, the sizes are
first measured by a superadditive function (:mod:`.dual`) of few values: what fits on a piece fits on
its measure, so that the table then tells too much, never too little. Lengths are whole hundredths of a
millimetre.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from service.engine.layout.cover import whole_cost
from service.engine.layout.dual import by_unit
from service.engine.layout.grid import Grid
from service.engine.layout.kinds import Kind, Variant
from service.engine.layout.stock import StockType
from service.engine.order import ANY_STAGES
from service.engine.quantities import Length

ANY_LEVELS: Final = ANY_STAGES
_PLACES: Final = 350
"""Places along an axis looked at as they are; with more of them, sizes are measured in units."""
_BITS: Final = 26
_UNITS: Final = 4
"""Pairs of units tried."""
_NEAR: Final = 85
"""Hundredths of the known cost that a pair must come to for others to be tried after it (shop default)."""


def price_bound(
    kinds: Sequence[Kind],
    counts: Sequence[int],
    types: Sequence[StockType],
    room: Sequence[tuple[Length, Length]],
    prices: Sequence[int],
    levels: int = ANY_LEVELS,
    known: int = 0,
) -> int:
    """Least cost by those prices, rounded up; `room` is what each stock type has for parts.

    Proof: let V be the most that any guillotine layout of a stock type can be worth, its parts taken
    as often as one likes. Every layout in a plan is worth at most V, so with n pieces of each type,
    ``Σ counts · prices ≤ Σ n · V``. Hence the plan costs at least ``Σ counts · prices`` times the least
    cost / V over the types; and also at least ``Σ counts · prices − Σ quantity · max(0, V − cost)``,
    since ``cost ≥ V − max(0, V − cost)`` for each piece used; and what whole pieces cost whose V add up
    to the worth of the parts (:func:`.cover.whole_cost`). Prices below zero count as zero.
    `levels` is how many levels of cuts the plan may have at most. Where a measure comes to much less than
    the cost that is `known` to be the least, no further one is tried; what another might have told is lost.
    """
    prices = [max(p, 0) if n else 0 for n, p in zip(counts, prices, strict=True)]
    # Prices of thirty bits say as much, and tables of them are done in half the time.
    excess = max(max(prices, default=0).bit_length() - _BITS, 0)
    prices = [p >> excess for p in prices]
    worth = sum(n * p for n, p in zip(counts, prices, strict=True))
    if worth == 0:
        return 0
    best = 0
    for grid in grids(kinds, counts, room, prices, levels):
        tops = grid.tops(prices)
        if least_cost(worth, tops, types) * 100 < known * _NEAR:
            # Another measure might tell more: it is left out to save time, and the bound holds anyway.
            break
        best = max(best, whole_least(worth, tops, types))
    return best


def least_cost(worth: int, tops: Sequence[int], types: Sequence[StockType]) -> Fraction:
    """Least cost of parts worth so much, no piece of each type holding more than its top.

    For the proof see :func:`price_bound`.
    """
    live = [(top, t.cost, t.quantity) for top, t in zip(tops, types, strict=True) if top > 0]
    if not live:
        return Fraction(0)
    best = min(Fraction(cost, top) for top, cost, _ in live) * worth
    # Prices may be scaled by any factor: try those that make one type's layouts just worth their cost.
    for top, cost, _ in live:
        over = sum([n * (v * cost - c * top) for v, c, n in live if v * cost > c * top])
        best = max(best, Fraction(worth * cost - over, top))
    return best


def whole_least(worth: int, tops: Sequence[int], types: Sequence[StockType]) -> int:
    """As :func:`least_cost`, in whole pieces of stock."""
    least = least_cost(worth, tops, types)
    holds = [(top, t.cost, t.quantity) for top, t in zip(tops, types, strict=True)]
    return max(-(-least.numerator // least.denominator), whole_cost(holds, worth))


def grids(
    kinds: Sequence[Kind],
    counts: Sequence[int],
    room: Sequence[tuple[Length, Length]],
    prices: Sequence[int],
    levels: int,
) -> Iterator[Grid]:
    """The places as they are when they are few; else several ways to measure the sizes in units."""
    wide, high = max(r[0] for r in room), max(r[1] for r in room)
    variants = [
        v
        for kind, n in zip(kinds, counts, strict=True)
        if n
        for v in kind.variants
        if any(v.dx <= r[0] and v.dy <= r[1] for r in room)
    ]
    grid = Grid(variants, counts, room, levels, _PLACES)
    if grid.exact and len(grid.xs) + len(grid.ys) <= 2 * _PLACES:
        yield grid
        return
    weights = [prices[v.kind] * counts[v.kind] for v in variants]
    along = _units([v.dx for v in variants], weights, wide)
    across = _units([v.dy for v in variants], weights, high)
    for unit_x, unit_y in zip(along, across, strict=False):
        f, g = by_unit(wide, unit_x), by_unit(high, unit_y)
        measured = [replace(v, dx=f(v.dx), dy=g(v.dy)) for v in variants]
        if all(_counts_in_both(v) for v in measured):
            yield Grid(measured, counts, [(f(w), g(h)) for w, h in room], levels, 1 << 20)


def _counts_in_both(v: Variant) -> bool:
    return v.dx > 0 and v.dy > 0


def _units(sizes: Sequence[Length], weights: Sequence[int], whole: Length) -> list[Length]:
    """Units that make a few hundred of the whole and lose the least of the sizes."""
    ranked: list[tuple[Fraction, Length]] = []
    low, high = max(whole // _PLACES, 1), max(whole // (_PLACES // 2), 1)
    for unit in range(low, high + 1, max((high - low) // 64, 1)):
        f = by_unit(whole, unit)
        kept = sum(w * f(size) // size for size, w in zip(sizes, weights, strict=True))
        ranked.append((-Fraction(kept, f(whole)), unit))
    return [unit for _, unit in sorted(ranked)[:_UNITS]]
