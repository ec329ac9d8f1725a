"""Least cost of whole pieces of stock that together hold so much of something.

What is held may be area, sizes by a measure (:mod:`.dual`) or worth by prices (:mod:`.prices`): where
every layout of a piece holds at most so much, pieces must be taken until they hold what the parts come
to. A piece is taken whole or not at all, which with a few large sheets says much more than fractions.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from typing import Final

LOOKS: Final = 6000
"""Capacities looked at, about, until the least whole cost found so far is the answer."""


def cover_cost(holds: Sequence[tuple[int, int, int]], wanted: int) -> int:
    """Least cost of stock that holds `wanted`, rounded up; `holds`: (capacity, cost, quantity).

    Proof: letting pieces be taken in fractions can only lower the cost, and then taking them by
    rising cost for capacity is best (an exchange argument). Costs are whole numbers.

    >>> cover_cost([(10, 10, 2), (4, 5, 9)], 22)
    23
    """
    left, cost = wanted, 0
    for capacity, each, quantity in _by_worth(holds):
        if left <= capacity * quantity:
            return cost - (-left * each // capacity) if left > 0 else cost
        left -= capacity * quantity
        cost += each * quantity
    return cost


def whole_cost(holds: Sequence[tuple[int, int, int]], wanted: int, looks: int = LOOKS) -> int:
    """A cost that whole pieces holding `wanted` do not go below: the least there is, if `looks` suffice.

    Proof: the pieces of one capacity are so many or fewer, or one more or more; of the cases still open
    the one whose cost in fractions is least is divided, so no whole choice costs less than that. Where
    all the stock holds too little, what all of it costs is the answer, as in :func:`cover_cost`.

    >>> whole_cost([(10, 10, 2), (4, 5, 9)], 22)
    25
    >>> whole_cost([(794, 17, 2), (3125, 94, 14)], 9154)       # three sheets: two and the offcuts hold less
    282
    """
    rows = _by_worth(holds)
    unit = math.gcd(*(each for _, each, _ in rows)) or 1
    root = (tuple(0 for _ in rows), tuple(n for _, _, n in rows))
    first = _in_fractions(rows, *root, wanted)
    if first is None:
        return sum(each * n for _, each, n in rows)
    found, where = first
    # Of equal cost whole ones come first, then the latest.
    heap = [(-(-found // unit) * unit, where is not None, 0, where, *root)]
    made = 0
    for _ in range(looks // (2 * max(len(rows), 1))):
        found, _, _, where, low, high = heap[0]
        if where is None:
            return found
        heapq.heappop(heap)
        row, few = where
        below = (low, (*high[:row], few, *high[row + 1 :]))
        above = ((*low[:row], few + 1, *low[row + 1 :]), high)
        for case in (below, above):
            told = _in_fractions(rows, *case, wanted)
            if told is not None:
                made += 1
                cost = max(found, -(-told[0] // unit) * unit)
                heapq.heappush(heap, (cost, told[1] is not None, -made, told[1], *case))
    return heap[0][0]


def _in_fractions(
    rows: Sequence[tuple[int, int, int]], low: tuple[int, ...], high: tuple[int, ...], wanted: int
) -> tuple[int, tuple[int, int] | None] | None:
    """Cost, rounded up, of at least `low` and at most `high` pieces; None where they hold too little.

    With it comes the row that would be taken in part, and how many of it are whole; None where none is.
    """
    left = wanted - sum(capacity * n for (capacity, _, _), n in zip(rows, low, strict=True))
    cost = sum(each * n for (_, each, _), n in zip(rows, low, strict=True))
    for row, (capacity, each, _) in enumerate(rows):
        if left <= 0:
            return cost, None
        take = min(high[row] - low[row], left // capacity)
        left -= take * capacity
        cost += take * each
        if 0 < left < capacity and low[row] + take < high[row]:
            return cost - (-left * each // capacity), (row, low[row] + take)
    return (cost, None) if left <= 0 else None


def _by_worth(holds: Sequence[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """What holds anything, by rising cost for capacity."""
    # Shares of whole numbers below 2**64 that differ, differ by more than 2**-128.
    return [
        (capacity, each, quantity)
        for _, capacity, each, quantity in sorted(
            [((c << 128) // h, h, c, n) for h, c, n in holds if h > 0 and n > 0]
        )
    ]
