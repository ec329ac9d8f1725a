"""The linear programme for what is still wanted, with the layouts that were offered to it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Generic, TypeVar

from service.engine.layout.context import Pattern
from service.engine.layout.linear import PRICE_BITS, Column, Master
from service.engine.layout.sketch import Sketch
from service.engine.layout.stock import StockType

Made = TypeVar("Made", bound=Pattern | Sketch)


class Task(Generic[Made]):
    """The linear programme for what is still wanted, from what stock is left.

    `capped`: a layout counts for a part no more than is wanted of it (:class:`.linear.Master`).
    """

    def __init__(
        self,
        types: Sequence[StockType],
        kinds: Sequence[int],
        demand: Sequence[int],
        stock: Sequence[int],
        *,
        capped: bool = False,
    ) -> None:
        self.types = types
        self.dearest = max(t.cost for t in types)
        self.kinds = kinds
        self.demand = demand
        self.stock = stock
        self.row_of = {kind: row for row, kind in enumerate(kinds)}
        pieces = sum(demand)
        scarce = [t.index for t in self.types if 0 < stock[t.index] < pieces]
        self.stock_row = {index: len(kinds) + i for i, index in enumerate(scarce)}
        self.master = Master([demand[k] for k in kinds], [stock[i] for i in scarce], 2.0, capped=capped)
        self.scarce = scarce
        self.patterns: list[Made] = []
        self.dropped: set[int] = set()
        self.known: set[tuple[int, tuple[tuple[int, int], ...]]] = set()

    def renew(self, demand: Sequence[int], stock: Sequence[int]) -> None:
        """The same patterns for what is still wanted of the same kinds, from what stock is left."""
        self.demand = demand
        self.stock = stock
        self.master.renew([demand[k] for k in self.kinds], [stock[i] for i in self.scarce])

    def column(self, stock: int, use: Sequence[tuple[int, int]]) -> Column:
        """A use of a stock type as a column; empty when it serves nothing that is wanted."""
        column: Column = tuple((self.row_of[kind], n) for kind, n in use if kind in self.row_of)
        if column and stock in self.stock_row:
            column = (*column, (self.stock_row[stock], 1))
        return column

    def offer(self, pattern: Made) -> bool:
        """Take a pattern in; False when it is known or of no use."""
        key = (pattern.stock, pattern.use)
        if self.stock[pattern.stock] <= 0 or key in self.known:
            return False
        self.known.add(key)
        column = self.column(pattern.stock, pattern.use)
        if not column:
            return False
        self.master.add(column, self.types[pattern.stock].cost / self.dearest)
        self.patterns.append(pattern)
        return True

    def drop(self, pattern: Made) -> None:
        """Use a pattern no more: it cannot be cut as it is."""
        number = self.patterns.index(pattern)
        self.dropped.add(number)
        self.master.bar(number)

    def gains(self, pattern: Made | None, values: Sequence[int]) -> bool:
        """Take a pattern in when it is worth more than it costs."""
        if pattern is None:
            return False
        worth = sum(values[kind] * n for kind, n in pattern.use)
        if worth * self.dearest <= self.types[pattern.stock].cost << PRICE_BITS:
            return False
        return self.offer(pattern)

    def values(self) -> list[int]:
        """What a piece of each kind is worth."""
        values = [0] * len(self.demand)
        for kind, price in zip(self.kinds, self.master.prices(), strict=True):
            values[kind] = price
        return values
