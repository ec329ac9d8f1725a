"""Patterns one after another: sequential value correction.

Parts that end in wasteful company become worth more, so that the next pass places them earlier.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from service.engine.layout.context import Context, Pattern
from service.engine.layout.stock import StockType
from service.engine.plan import Axis
from service.engine.quantities import Length

_FULL: Final = 850
"""Thousandths of an offcut that parts fill when it is used before sheets."""
_FREE: Final = 333
"""The same of an offcut that costs nothing, with quick effort."""


class Sequence32:
    """A fixed sequence of whole numbers (linear congruence, constants of Numerical Recipes)."""

    def __init__(self, start: int) -> None:
        self.state = start

    def below(self, limit: int) -> int:
        """The next number, 0 ≤ number < limit."""
        self.state = (self.state * 1664525 + 1013904223) % (1 << 32)
        return (self.state >> 8) % limit


class Passes:
    """Passes over the demand of one context.

    With `numbers`, now and then the first strip of a pattern is chosen by them and not by its worth.
    `once` tells whether a pass went to its end.
    """

    def __init__(self, context: Context) -> None:
        self.context = context
        self.numbers: Sequence32 | None = None
        self.types = context.types
        self.areas = context.areas
        self.once = False
        # What follows with more effort finds better company for the parts than a third of an offcut.
        self.free = _FREE if context.job.options.effort == "quick" else _FULL

    def one_pass(
        self,
        values: list[int],
        demand: Sequence[int],
        stock_left: list[int],
        axes: Sequence[Axis],
        threshold: int | None = None,
    ) -> tuple[list[tuple[Pattern, int]], list[int]]:
        """Patterns one after another until all is placed or the stock is used up.

        `values` are corrected after each pattern: parts that ended in wasteful company become
        worth more, so that the next pass places them earlier. Offcuts are taken first when parts
        fill at least `threshold` thousandths of them; without it, most of them, or a third of those that
        are free where the effort is quick.

        Once the caller has said stop, the pass is left as it is, if there was a whole one before, and
        else goes on with one size of stock as long as there is some.
        """
        left = list(demand)
        rows: list[tuple[Pattern, int]] = []
        chosen: Pattern | None = None
        for stock in self.types:
            enough = (_FULL if stock.cost else self.free) if threshold is None else threshold
            while stock.offcut and stock_left[stock.index] > 0 and any(left):
                pattern = self.best(stock, axes[:1], values, left, len(rows))
                if pattern is None or pattern.parts_area * 1000 < enough * stock.area or self.context.ended():
                    break
                self._take(pattern, rows, left, stock_left, values)
        while any(left):
            if self.context.ended():
                if self.once:
                    return rows, left
                if chosen is not None and (same := self._same_again(chosen, axes, values, left, stock_left)):
                    self._take(same, rows, left, stock_left, values)
                    continue
            chosen = None
            for offcut in (False, True):
                for stock in self.types:
                    if stock.offcut != offcut or stock_left[stock.index] <= 0:
                        continue
                    pattern = self.best(stock, axes, values, left, len(rows))
                    if pattern is not None and (
                        chosen is None or self.context.better(pattern, chosen, values)
                    ):
                        chosen = pattern
                if chosen is not None:
                    break
            if chosen is None:
                break
            self._take(chosen, rows, left, stock_left, values)
        self.once = True
        return rows, left

    def _same_again(
        self,
        before: Pattern,
        axes: Sequence[Axis],
        values: Sequence[int],
        left: Sequence[int],
        stock_left: Sequence[int],
    ) -> Pattern | None:
        """A pattern for the stock of the one before, if there is more of it and anything fits on it."""
        if stock_left[before.stock] <= 0:
            return None
        return self.best(self.types[before.stock], axes[:1], values, left, 0)

    def best(
        self,
        stock: StockType,
        axes: Sequence[Axis],
        values: Sequence[int],
        left: Sequence[int],
        turn: int,
    ) -> Pattern | None:
        """The best pattern for that stock over the first cuts in `axes`."""
        caps = self.context.active(left, turn, stock)
        if sum(1 for n in left if n) > 2 * self.context.most_active:
            # So many kinds fill a piece either way; the first cuts take turns.
            axes = axes[turn % len(axes) :][:1]
        best: Pattern | None = None
        for axis in axes:
            pattern = self.context.build(stock, axis, values, caps, lead=self._lead(axis, caps))
            if pattern is not None and (best is None or self.context.better(pattern, best, values)):
                best = pattern
        return best if best is not None else self.context.fallback(stock, left)

    def _lead(self, axis: Axis, caps: Sequence[int]) -> Length | None:
        if self.numbers is None or self.numbers.below(2):
            return None
        depths = sorted({v.along(axis) for v in self.context.filler.variants if caps[v.kind] > 0})
        return depths[self.numbers.below(len(depths))] if depths else None

    def _take(
        self,
        pattern: Pattern,
        rows: list[tuple[Pattern, int]],
        left: list[int],
        stock_left: list[int],
        values: list[int],
    ) -> None:
        repeat = min([stock_left[pattern.stock], *(left[kind] // n for kind, n in pattern.use)])
        rows.append((pattern, repeat))
        stock_left[pattern.stock] -= repeat
        area = self.types[pattern.stock].area
        for kind, n in pattern.use:
            left[kind] -= n * repeat
            # The stock that a part took up, its share of the waste included, but not twice its area.
            taken = min(self.areas[kind] * area // pattern.parts_area, 2 * self.areas[kind])
            values[kind] = (3 * values[kind] + taken) // 4
