"""Stock seen as types: pieces that are alike for the search, offcuts before sheets.

What a piece costs is its price when every usable piece has one and some are not free, else its
area; both as whole numbers. Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from service.engine.layout import rules
from service.engine.layout.rules import Piece
from service.engine.order import StockItem
from service.engine.quantities import PER_MM, Length


@dataclass(frozen=True, slots=True)
class StockType:
    """Equal pieces of stock.

    Attributes
    ----------
    offcut
        Whether they come from the offcut rack.
    cost
        Of one piece, in a unit common to all types of a job.
    items
        (reference, quantity) of the stock items behind it.
    """

    index: int
    length: Length
    width: Length
    offcut: bool
    cost: int
    piece: Piece
    items: tuple[tuple[str, int], ...]

    @property
    def area(self) -> int:
        """Area of one piece, in (0.01 mm)²."""
        return self.length * self.width

    @property
    def quantity(self) -> int:
        """How many there are."""
        return sum(quantity for _, quantity in self.items)


def costs(stock: Iterable[StockItem]) -> dict[int, int] | None:
    """Whole-number price of each item by its place, or None when some item has no price or all are free.

    Where nothing costs anything, prices tell no plan from another, and area does.

    >>> from service.engine.order import StockItem
    >>> a = StockItem("A", 100, 100, 1, "S235JR", 300, price=12.5)
    >>> b = StockItem("B", 100, 100, 1, "S235JR", 300, price=10.25)
    >>> costs([a, b])
    {0: 50, 1: 41}
    """
    exact: list[Fraction] = []
    for item in stock:
        if item.price is None:
            return None
        exact.append(Fraction(str(item.price)))
    if not any(exact):
        return None
    scale = math.lcm(*(price.denominator for price in exact)) if exact else 1
    return {place: int(price * scale) for place, price in enumerate(exact)}


def in_money(stock: Iterable[StockItem]) -> bool:
    """Whether the search counts stock in money, and not by its area."""
    return costs([item for item in stock if item.quantity > 0]) is not None


def price_scale(stock: Iterable[StockItem]) -> int:
    """The number by which :func:`costs` multiplied the prices."""
    return math.lcm(*(Fraction(str(item.price)).denominator for item in stock if item.price is not None))


def cost_scale(stock: Iterable[StockItem]) -> int:
    """The cost of a stock type for one unit of its price, or for a mm² where prices do not count."""
    usable = [item for item in stock if item.quantity > 0]
    return PER_MM * PER_MM if costs(usable) is None else price_scale(usable)


def stock_types(stock: Iterable[StockItem], trim: Length) -> tuple[StockType, ...]:
    """Gather stock into types: offcuts first, small before large; the order of the stock is kept in each."""
    usable = [item for item in stock if item.quantity > 0]
    priced = costs(usable)
    gathered: dict[tuple[bool, int, int, int, bool, int], list[StockItem]] = {}
    for place, item in enumerate(usable):
        piece = rules.stock_piece(item, trim)
        cost = item.length * item.width if priced is None else priced[place]
        key = (item.kind != "offcut", cost, item.length, item.width, piece.x.near_mill, item.oversize)
        gathered.setdefault(key, []).append(item)
    types: list[StockType] = []
    for key in sorted(gathered):
        items = gathered[key]
        first = items[0]
        types.append(
            StockType(
                len(types),
                first.length,
                first.width,
                first.kind == "offcut",
                key[1],
                rules.stock_piece(first, trim),
                tuple((item.ref, item.quantity) for item in items),
            )
        )
    return tuple(types)
