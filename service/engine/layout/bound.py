"""How good the material use can be at best: lower bounds that hold whatever the method.

Each function states why it holds. Lengths are whole hundredths of a millimetre, areas their squares.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from service.engine.layout.job import Division, Job
from service.engine.layout.kinds import Kind, kinds_of
from service.engine.layout.stock import StockType, price_scale, stock_types
from service.engine.plan import Bound

_PER_MM2 = 10_000


def usable_area(stock: StockType, trim: int) -> int:
    """The area of a stock piece that can become parts.

    Proof: no part keeps a mill edge, and a mill edge comes off by at least the trim, at each end.
    """
    length, width = stock.length, stock.width
    for extent, name in ((stock.piece.x, "x"), (stock.piece.y, "y")):
        cut = (trim if extent.near_mill else 0) + (trim if extent.far_mill else 0)
        if name == "x":
            length -= cut
        else:
            width -= cut
    return max(length, 0) * max(width, 0)


def cover_cost(types: Sequence[StockType], costs: Sequence[int], trim: int, area: int) -> int:
    """Least cost of stock whose usable area reaches `area`, in whole units, rounded up.

    Proof: the parts lie in the usable areas without overlap, so any plan covers `area` with at most
    the pieces there are; letting pieces be taken in fractions can only lower the cost, and then
    taking them by rising cost for usable area is best (an exchange argument).
    """
    order = sorted(
        (Fraction(costs[t.index], u), t.index, u, t.quantity)
        for t in types
        if (u := usable_area(t, trim)) > 0
    )
    left, cost = area, Fraction(0)
    for ratio, _, usable, quantity in order:
        if left <= 0:
            break
        take = min(left, usable * quantity)
        cost += ratio * take
        left -= take
    return -(-cost.numerator // cost.denominator)


def cover_pieces(types: Sequence[StockType], trim: int, area: int) -> int:
    """Fewest pieces whose usable area reaches `area`.

    Proof: n pieces hold at most what the n largest usable areas hold.
    """
    left, pieces = area, 0
    for usable, quantity in sorted(((usable_area(t, trim), t.quantity) for t in types), reverse=True):
        if left <= 0 or usable == 0:
            break
        take = min(quantity, -(-left // usable))
        pieces += take
        left -= take * usable
    return pieces


def _cheapest(types: Sequence[StockType], costs: Sequence[int], pieces: int) -> int:
    """Cost of the `pieces` cheapest pieces.

    Proof: a plan that uses at least so many pieces pays at least for the cheapest so many.
    """
    left, cost = pieces, 0
    for each, quantity in sorted((costs[t.index], t.quantity) for t in types):
        take = min(left, quantity)
        cost += take * each
        left -= take
    return cost


def lower_bound(job: Job, placed: Mapping[str, int], divisions: Sequence[Division]) -> Bound:
    """The bound for the parts that were placed, and how far `divisions` lie above it.

    `placed` gives the pieces placed of each part's reference.
    """
    trim = job.options.trim
    types = stock_types(job.stock, trim)
    kinds = kinds_of(job.parts)
    counts = placed_kinds(kinds, placed)
    area = sum(kind.area * n for kind, n in zip(kinds, counts, strict=True))
    areas = [t.area for t in types]
    pieces = cover_pieces(types, trim, area)
    method = "area"
    least_area = max(cover_cost(types, areas, trim, area), _cheapest(types, areas, pieces))
    by_ref = {item.ref: item for item in job.stock}
    used_pieces = sum(d.repeat for d in divisions)
    used_area = sum(d.repeat * by_ref[d.stock_ref].length * by_ref[d.stock_ref].width for d in divisions)
    usable_items = [item for item in job.stock if item.quantity > 0]
    cost: float | None = None
    used, least = used_area, least_area
    if usable_items and all(item.price is not None for item in usable_items):
        scale = price_scale(usable_items)
        prices = [t.cost for t in types]
        least = max(cover_cost(types, prices, trim, area), _cheapest(types, prices, pieces))
        used = sum(d.repeat * int(Fraction(str(by_ref[d.stock_ref].price)) * scale) for d in divisions)
        cost = float(Fraction(least, scale))
    share = float(Fraction(used - least, least)) if least > 0 else 0.0
    return Bound(pieces, least_area / _PER_MM2, cost, used_pieces - pieces, share, method)


def placed_kinds(kinds: Sequence[Kind], placed: Mapping[str, int]) -> list[int]:
    """Pieces placed of each kind."""
    return [sum(placed.get(ref, 0) for ref, _, _ in kind.wanted) for kind in kinds]
