"""Sheets met while parts are taken out and put back, and the choice among them in whole numbers.

What a search leaves behind at one time may go with what it finds much later: a pool of filled sheets,
each content once, and the fewest of them that hold all parts between them (M. Monaci and P. Toth,
INFORMS Journal on Computing 18, 2006, 71-85). The linear programme over the pool tells first whether a
cheaper plan can come of it at all.
"""

from __future__ import annotations

import math
from collections import Counter
from typing import Final

from service.engine.layout.context import Context
from service.engine.layout.linear import Column, Master
from service.engine.layout.slack import Tree

_MOST: Final = 8000
"""Sheets kept at most; when there are so many, all but the most promising are forgotten."""
_PROMISING: Final = 3000
_CHOSEN_FROM: Final = 200
"""Sheets up to which the solver chooses in whole numbers; of more it takes seconds at its first node."""
_DIVES: Final = 3
"""Dives for one plan: each solves the linear programme a dozen times."""
_NODES: Final = 40
"""Nodes of the choice in whole numbers."""

Content = tuple[int, tuple[int, ...]]
"""Type of the stock, and the kinds of the parts in rising order, each as often as it is there."""


class Pool:
    """Filled sheets of one context."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self.types = context.types
        self.kinds = [kind for kind, n in enumerate(context.demand) if n > 0]
        self.row_of = {kind: row for row, kind in enumerate(self.kinds)}
        self.trees: dict[Content, Tree] = {}
        self.order: list[Content] = []
        self.refused: set[Content] = set()
        self.dives = 0
        self.dearest = max(t.cost for t in self.types)
        self.unit = math.gcd(*(t.cost for t in self.types)) or 1
        pieces = sum(context.demand)
        scarce = [t for t in self.types if t.quantity < pieces]
        self.stock_row = {t.index: len(self.kinds) + i for i, t in enumerate(scarce)}
        self.have = [t.quantity for t in scarce]
        self.master = self._empty()

    def add(self, content: Content, tree: Tree) -> None:
        """A sheet that was met; one of each content is kept."""
        if content not in self.trees and len(self.trees) < _MOST:
            self.trees[content] = tree

    def prices(self) -> list[int]:
        """What the linear programme says a piece of each kind is worth."""
        prices = [0] * len(self.context.demand)
        for kind, price in zip(self.kinds, self.master.prices(), strict=True):
            prices[kind] = price
        return prices

    def too_few(self, below: int) -> bool:
        """Whether even in fractions the sheets met hold all parts only for so much, or more."""
        if len(self.order) < len(self.trees):
            self._take_up()
        return self.master.objective > self._limit(below) + 1e-6

    def _limit(self, below: int) -> float:
        return (below - self.unit) / self.dearest

    def choice(self, below: int) -> list[Content] | None:
        """Sheets that hold all parts for less than a cost, or most of them; None when none were found.

        A part may be in more of them than it is wanted.
        """
        if len(self.order) == len(self.trees):
            return None
        self._take_up()
        master, parts = self.master, len(self.kinds)
        limit = self._limit(below)
        if master.objective > limit + 1e-6:
            return None
        used = [j for j in master.within(limit) if self.order[j] not in self.refused]
        if len(used) > _CHOSEN_FROM:
            self.dives += 1
            return self._dive(limit) if self.dives <= _DIVES else None
        self.context.other_steps += 300 * len(used) + 3000 * parts
        uses = master.whole(_NODES, used, helped=False)
        if uses is None:
            return None
        chosen = [content for content, n in zip(self.order, uses, strict=True) for _ in range(n)]
        cost = sum(self.types[stock].cost for stock, _ in chosen)
        return chosen if cost < below else None

    def _dive(self, limit: float) -> list[Content]:
        """Sheets fixed one after another, as the linear programme for what is left wants them most.

        They cost no more than the limit, and seldom hold all parts then.
        """
        master = self.master
        need, have, room = list(master.need), list(master.have), round(limit * self.dearest)
        chosen: list[Content] = []
        while any(need):
            ranked = sorted((-round(weight, 6), j) for j, weight in master.weights())
            # Several at once, so that the programme is not solved for each; they share no part then.
            fixed, most = 0, max(room // (4 * self.dearest), 1)
            for weight, j in ranked:
                stock, kinds = content = self.order[j]
                cost = self.types[stock].cost
                if content in self.refused or cost > room:
                    continue
                if fixed and weight > -1 and (fixed >= most or not all(need[self.row_of[k]] for k in kinds)):
                    continue
                room -= cost
                fixed += 1
                chosen.append(content)
                for kind in kinds:
                    need[self.row_of[kind]] = max(need[self.row_of[kind]] - 1, 0)
                if stock in self.stock_row:
                    have[self.stock_row[stock] - len(self.kinds)] -= 1
                    break
            if not fixed:
                break
            self.context.other_steps += 300 * len(self.kinds)
            master.renew(need, have)
            master.solve()
        master.renew([self.context.demand[k] for k in self.kinds], self.have)
        master.solve()
        return chosen

    def _empty(self) -> Master:
        return Master([self.context.demand[k] for k in self.kinds], self.have, 2.0)

    def _take_up(self) -> None:
        """Solve the linear programme with the sheets met since the last time."""
        for content in list(self.trees)[len(self.order) :]:
            self.order.append(content)
            self.master.add(self._column(content), self.types[content[0]].cost / self.dearest)
        self.context.other_steps += 100 * len(self.kinds) + 8 * len(self.order)
        self.master.solve()
        if len(self.order) >= _MOST:
            # Rounded, so that what lies beyond does not decide.
            ranked = sorted((round(self.master.beyond(j), 6), j) for j in range(len(self.order)))
            kept = [self.order[j] for j in sorted(j for _, j in ranked[:_PROMISING])]
            self.trees = {content: self.trees[content] for content in kept}
            self.order = []
            self.master = self._empty()
            self._take_up()

    def _column(self, content: Content) -> Column:
        stock, kinds = content
        column: Column = tuple((self.row_of[kind], n) for kind, n in sorted(Counter(kinds).items()))
        return (*column, (self.stock_row[stock], 1)) if stock in self.stock_row else column
