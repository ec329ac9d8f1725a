"""How much is asked of the search for the most valuable layout, and when: first little, at last the proof.

A search for what may be worth at least so much is short while that is near the bound, and it grows many
times longer the lower it is. So a few layouts of each size come first, to know what is within reach; then
all, from the bound downwards in steps that shrink as the searches grow; then more of each size where all
are too many.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from service.engine.layout.grid import Shape
from service.engine.layout.joins import Joins

_FEW: Final = (4, 16)
_MANY: Final = 64
_STEPS: Final = 512
"""The first step down from the bound is this part of it."""


class Hunt:
    """The best layout of one piece: :attr:`reached` and :attr:`most` close in on its worth.

    `accept` carries a layout out and answers its worth; `reached` is what is known already and `most` a
    bound; `exact` tells whether the places of the joins are all there are, so that searches prove something.
    """

    def __init__(
        self, joins: Joins, accept: Callable[[Shape], int], budget: int, reached: int, most: int, exact: bool
    ) -> None:
        self.joins = joins
        self._carry_out = accept
        self.end = joins.work + budget
        self.budget = budget
        self.reached = reached
        self.most = most
        self.exact = exact

    @property
    def over(self) -> bool:
        """Whether there is nothing left to find, or no effort left."""
        return self.reached >= self.most or self.joins.work >= self.end or self.joins.stopped

    def begin(self) -> None:
        """Search with half of the effort: often that proves the best."""
        self._down(_FEW[0], self.budget // 16)
        for keep in _FEW:
            self._better(keep, self.budget // 4)
        self._down(None, self.budget // 4)

    def finish(self) -> None:
        """Search on with what was reached in the meantime, until the best is proved or the effort spent."""
        self._better(_MANY, self.budget // 4)
        self._down(None, self.budget)

    def _better(self, keep: int, budget: int) -> None:
        """With so many layouts of each size, look for better until there is none."""
        end = min(self.joins.work + budget, self.end)
        reached = -1
        while not self.over and self.joins.work < end and self.reached > reached:
            reached = self.reached
            self._noted(self.joins.search(reached + 1, end - self.joins.work, self.accept, keep))

    def accept(self, shape: Shape) -> int:
        """Have a layout carried out; its worth."""
        worth = self._carry_out(shape)
        self.reached = max(self.reached, worth)
        return worth

    def _down(self, keep: int | None, budget: int) -> None:
        """Lower what is asked for from the bound until it is met, as far as the effort goes."""
        end = min(self.joins.work + budget, self.end)
        top, gap, pace, last = self.most, self.most // _STEPS + 1, 16, 1
        while not self.over and self.joins.work < end:
            least = max(top - gap + 1, self.reached + 1)
            before = self.joins.work
            bound = self.joins.search(least, end - before, self.accept, keep)
            self._noted(bound)
            if self.reached >= least or least == self.reached + 1 or (bound is None and keep is None):
                return
            # Each search is to take two to four times the one before.
            took = self.joins.work - before
            pace = (
                max(pace // 2, 1) if took > 4 * last else min(pace * 3 // 2, 32) if took < 2 * last else pace
            )
            gap, last = gap + max(gap * pace // 16, 1), took

    def _noted(self, bound: int | None) -> None:
        if bound is not None and self.exact:
            self.most = min(self.most, max(bound, self.reached))
