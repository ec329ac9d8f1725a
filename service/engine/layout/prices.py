"""A bound from prices: what the parts are worth against the most that a piece of stock can hold.

Gilmore & Gomory's dual of the cutting stock problem (Operations Research 13, 1965), with the exact
dynamic programme over the places where cuts can lie (Herz 1972; Beasley 1985). Lengths are whole
hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from operator import add

from service.engine.layout.kinds import Kind
from service.engine.layout.stock import StockType
from service.engine.quantities import Length

_WORK = 24_000_000
"""Elementary sums spent on one bound at most; beyond that the bound is left out."""
_PLACES = 700


def price_bound(
    kinds: Sequence[Kind],
    counts: Sequence[int],
    types: Sequence[StockType],
    costs: Sequence[int],
    room: Sequence[tuple[Length, Length]],
    prices: Sequence[int],
) -> int:
    """Least cost by those prices, rounded up; 0 when the places of cuts are too many to look at.

    Proof: let V be the most that any guillotine layout of a stock type can be worth, its parts taken
    as often as one likes. Every layout in a plan is worth at most V, so with n pieces of each type,
    ``Σ counts · prices ≤ Σ n · V``. Hence the plan costs at least ``Σ counts · prices`` times the least
    cost / V over the types; and also at least ``Σ counts · prices − Σ quantity · max(0, V − cost)``,
    since ``cost ≥ V − max(0, V − cost)`` for each piece used. Prices below zero count as zero.
    """
    worth = sum(n * max(p, 0) for n, p in zip(counts, prices, strict=True))
    if worth == 0:
        return 0
    tops: list[int] = []
    for width, height in room:
        top = most_valuable(kinds, counts, prices, width, height)
        if top is None:
            return 0
        tops.append(top)
    live = [(top, cost, t.quantity) for top, cost, t in zip(tops, costs, types, strict=True) if top > 0]
    if not live:
        return 0
    scaled = min(Fraction(cost, top) for top, cost, _ in live) * worth
    best = scaled
    # Prices may be scaled by any factor: try those that make one type's layouts just worth their cost.
    for top, cost, _ in live:
        factor = Fraction(cost, top)
        lagrange = worth * factor - sum(n * max(Fraction(0), v * factor - c) for v, c, n in live)
        best = max(best, lagrange)
    return -(-best.numerator // best.denominator)


def most_valuable(
    kinds: Sequence[Kind], counts: Sequence[int], prices: Sequence[int], width: Length, height: Length
) -> int | None:
    """The greatest worth of any guillotine layout of a piece, copies not limited; None if too much work.

    Cuts need only lie at sums of part sizes (moving every part as near to the origin as it goes
    makes it so), and a region is worth as much as the largest such sums it reaches.
    """
    pieces = [
        (v.dx, v.dy, prices[kind.index])
        for kind, n in zip(kinds, counts, strict=True)
        if n and prices[kind.index] > 0
        for v in kind.variants
        if v.dx <= width and v.dy <= height
    ]
    if not pieces:
        return 0
    xs = _places({p[0] for p in pieces}, width)
    ys = _places({p[1] for p in pieces}, height)
    if xs is None or ys is None or len(xs) * len(ys) * (len(xs) + len(ys)) > 2 * _WORK:
        return None
    return _fill(pieces, xs, ys)


def _places(sizes: set[Length], whole: Length) -> list[Length] | None:
    found = {0}
    frontier = [0]
    ordered = sorted(sizes)
    while frontier:
        fresh: list[Length] = []
        for at in frontier:
            for size in ordered:
                if at + size > whole:
                    break
                if at + size not in found:
                    found.add(at + size)
                    fresh.append(at + size)
        if len(found) > _PLACES:
            return None
        frontier = fresh
    return sorted(found)


def _fill(pieces: Sequence[tuple[Length, Length, int]], xs: list[Length], ys: list[Length]) -> int:
    across, up = len(xs), len(ys)
    below_x = _partners(xs)
    below_y = _partners(ys)
    column_of = {x: i for i, x in enumerate(xs)}
    row_of = {y: j for j, y in enumerate(ys)}
    base = [[0] * up for _ in range(across)]
    for dx, dy, value in pieces:
        i, j = column_of[dx], row_of[dy]
        base[i][j] = max(base[i][j], value)
    # worth[i][j]: of xs[i] by ys[j]; kept by columns and by rows, so that cuts are sums of slices.
    by_column: list[list[int]] = [[0] * up for _ in range(across)]
    by_row: list[list[int]] = [[0] * across for _ in range(up)]
    for i in range(across):
        column = by_column[i]
        first_x, pairs_x = below_x[i]
        for j in range(up):
            best = base[i][j]
            if i:
                best = max(best, by_row[j][i - 1])
            if j:
                best = max(best, column[j - 1])
            if pairs_x:
                row = by_row[j]
                best = max(best, *map(add, row[1:first_x], [row[k] for k in pairs_x]))
            first_y, pairs_y = below_y[j]
            if pairs_y:
                best = max(best, *map(add, column[1:first_y], [column[k] for k in pairs_y]))
            column[j] = best
            by_row[j][i] = best
    return by_row[-1][-1]


def _partners(places: list[Length]) -> list[tuple[int, list[int]]]:
    """For each place: cuts at places 1 … end − 1, up to its middle, and the largest place beyond each cut."""
    found: list[tuple[int, list[int]]] = []
    for at in places:
        end = 1
        pairs: list[int] = []
        while end < len(places) and 2 * places[end] <= at:
            pairs.append(_last(places, at - places[end]))
            end += 1
        found.append((end, pairs))
    return found


def _last(places: list[Length], limit: Length) -> int:
    low, high = 0, len(places)
    while low + 1 < high:
        middle = (low + high) // 2
        if places[middle] <= limit:
            low = middle
        else:
            high = middle
    return low
