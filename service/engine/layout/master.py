"""Which patterns to use how often: a linear programme solved exactly, in whole numbers.

The revised simplex method with fraction-free pivots (Edmonds 1967, Bareiss 1968): the inverse of the
basis is kept as a whole-number matrix over one common denominator, so that there is no rounding,
no tolerance, and the same answer on every machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TypeAlias

Column: TypeAlias = tuple[tuple[int, int], ...]
"""(row, coefficient), rows rising."""


class Master:
    """Minimise cost · x with rows ``≥ need`` (parts) and rows ``≤ have`` (stock), x ≥ 0.

    Rows are numbered parts first, then stock. `penalty` is the cost of leaving one piece of a part
    out, so that there is always an answer.

    >>> master = Master([4, 3], [], [100, 100])
    >>> for column in (((0, 2),), ((0, 1), (1, 1)), ((1, 3),)):
    ...     _ = master.add(column, 1)
    >>> master.solve(100)
    True
    >>> master.objective(), sorted((j, str(x)) for j, x in master.weights())
    (Fraction(3, 1), [(0, '2'), (2, '1')])
    """

    def __init__(self, need: Sequence[int], have: Sequence[int], penalty: Sequence[int]) -> None:
        self.parts = len(need)
        size = len(need) + len(have)
        self.size = size
        self.right = [*need, *have]
        self.columns: list[Column] = []
        self.costs: list[int] = []
        # Below zero: -1 - i is the artificial or slack column of row i; -1 - size - i its surplus.
        self.basis = [-1 - i for i in range(size)]
        self.matrix = [[int(i == j) for j in range(size)] for i in range(size)]
        self.level = list(self.right)
        self.den = 1
        self.dual = [*penalty, *([0] * len(have))]
        self.penalty = list(self.dual)
        self.work = 0

    def add(self, column: Column, cost: int) -> int:
        """A further pattern; returns its number."""
        self.columns.append(column)
        self.costs.append(cost)
        return len(self.columns) - 1

    def gain(self, column: Column, cost: int) -> int:
        """How much a pattern would lower the cost for each use, times the denominator."""
        dual = self.dual
        return sum(dual[i] * a for i, a in column) - cost * self.den

    def solve(self, pivots: int) -> bool:
        """Pivot until no column gains; False when `pivots` did not suffice."""
        for _ in range(pivots):
            entering = self._entering()
            if entering is None:
                return True
            if not self._pivot(*entering):
                return True
        return False

    def _entering(self) -> tuple[int, Column, int] | None:
        best: tuple[int, Column, int] | None = None
        best_gain = 0
        best_cost = 1
        den = self.den
        dual = self.dual
        self.work += sum(len(c) for c in self.columns) // 2 + 1
        for j, column in enumerate(self.columns):
            cost = self.costs[j]
            gain = sum([dual[i] * a for i, a in column]) - cost * den
            if gain > 0 and gain * best_cost > best_gain * max(cost, 1):
                best, best_gain, best_cost = (j, column, gain), gain, max(cost, 1)
        if best is not None:
            return best
        for i in range(self.size):
            if i < self.parts and dual[i] < 0:
                # Surplus column: −1 in its row, free of cost.
                return -1 - self.size - i, ((i, -1),), -dual[i]
            short = dual[i] - self.penalty[i] * den
            if short > 0:
                # A piece left out at its penalty, or stock left over for nothing.
                return -1 - i, ((i, 1),), short
        return None

    def _pivot(self, number: int, column: Column, gain: int) -> bool:
        matrix, den, level = self.matrix, self.den, self.level
        size = self.size
        self.work += 2 * size * size
        turn = [sum([row[i] * a for i, a in column]) for row in matrix]
        leave = -1
        for r in range(size):
            if turn[r] > 0:
                if leave < 0:
                    leave = r
                    continue
                ahead = level[r] * turn[leave] - level[leave] * turn[r]
                if ahead < 0 or (ahead == 0 and self.basis[r] < self.basis[leave]):
                    leave = r
        if leave < 0:
            return False
        pivot = turn[leave]
        row = matrix[leave]
        at = level[leave]
        for r in range(size):
            t = turn[r]
            if r == leave:
                continue
            if t == 0:
                if pivot != den:
                    matrix[r] = [m * pivot // den for m in matrix[r]]
                    level[r] = level[r] * pivot // den
                continue
            matrix[r] = [(m * pivot - t * n) // den for m, n in zip(matrix[r], row, strict=True)]
            level[r] = (level[r] * pivot - t * at) // den
        self.dual = [(d * pivot - gain * n) // den for d, n in zip(self.dual, row, strict=True)]
        self.den = pivot
        self.basis[leave] = number
        return True

    def objective(self) -> Fraction:
        """The least cost, left-out pieces at their penalty."""
        total = 0
        for number, level in zip(self.basis, self.level, strict=True):
            if number >= 0:
                total += self.costs[number] * level
            elif number >= -self.size:
                total += self.penalty[-1 - number] * level
        return Fraction(total, self.den)

    def weights(self) -> list[tuple[int, Fraction]]:
        """(pattern, how often) of the patterns in use, by rising number."""
        return sorted(
            (number, Fraction(level, self.den))
            for number, level in zip(self.basis, self.level, strict=True)
            if number >= 0 and level > 0
        )

    def duals(self, scale: int) -> list[int]:
        """What one piece of each part is worth, times `scale`, rounded down; never below zero."""
        return [max(d * scale // self.den, 0) for d in self.dual[: self.parts]]
