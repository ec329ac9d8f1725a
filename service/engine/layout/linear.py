"""Which patterns to use how often: the linear programme, and the choice in whole numbers (HiGHS).

One thread, a fixed seed, and limits in nodes, never in seconds. Whatever the solver answers is only a
proposal: prices are rounded to whole numbers and give bounds that hold for any prices
(:mod:`.prices`), and choices are counted again in whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, TypeAlias

import highspy
import numpy as np

Column: TypeAlias = tuple[tuple[int, int], ...]
"""(row, coefficient), rows rising."""

PRICE_BITS: Final = 22
"""Prices are rounded to so many bits: what lies beyond may differ from one processor to another."""


class _Quiet(highspy.Highs):
    """A solver that prints nothing: the library greets on standard output before it can be told not to."""

    def enableCallbacks(self) -> None:  # noqa: N802 - the library's name
        self.setOptionValue("output_flag", False)
        super().enableCallbacks()  # type: ignore[no-untyped-call]


def _solver() -> Any:
    solver = _Quiet()  # type: ignore[no-untyped-call]
    for name, value in (
        ("output_flag", False),
        ("threads", 1),
        ("parallel", "off"),
        ("random_seed", 1),
        ("solver", "simplex"),
    ):
        solver.setOptionValue(name, value)
    return solver


class Master:
    """Minimise cost · x with rows ``≥ need`` (parts) and rows ``≤ have`` (stock), x ≥ 0.

    Rows are numbered parts first, then stock. `penalty` is the cost of leaving one piece of a part
    out, so that there is always an answer. Costs are shares of the dearest pattern. When it is `capped`,
    a pattern counts for a part no more than is needed of it, now: in whole numbers that is the same, while
    in fractions half a pattern with two pieces would else do where one piece is needed.

    >>> master = Master([4, 3], [], 100.0)
    >>> for column in (((0, 2),), ((0, 1), (1, 1)), ((1, 3),)):
    ...     _ = master.add(column, 1.0)
    >>> master.solve()
    >>> round(master.objective, 6), [(j, round(x, 6)) for j, x in master.weights()]
    (3.0, [(0, 2.0), (2, 1.0)])
    """

    def __init__(
        self, need: Sequence[int], have: Sequence[int], penalty: float, *, capped: bool = False
    ) -> None:
        self.parts = len(need)
        self.capped = capped
        # By part: how often, and in which pattern, of those that have it more than once.
        self._several: list[list[tuple[int, int]]] = [[] for _ in need]
        self.need = list(need)
        self.have = list(have)
        self.columns: list[Column] = []
        self.costs: list[float] = []
        self.penalty = penalty
        self.objective = 0.0
        self.duals: list[float] = []
        self.levels: list[float] = []
        self._lp = _solver()
        self._grown = False
        for n in need:
            self._lp.addRow(float(n), highspy.kHighsInf, 0, _INTS, _FLOATS)
        for n in have:
            self._lp.addRow(-highspy.kHighsInf, float(n), 0, _INTS, _FLOATS)
        for row in range(self.parts):
            self._lp.addCol(penalty, 0.0, highspy.kHighsInf, 1, np.array([row], np.int32), np.ones(1))

    def add(self, column: Column, cost: float) -> int:
        """A further pattern; returns its number."""
        self.columns.append(column)
        self.costs.append(cost)
        number = len(self.columns) - 1
        rows = np.array([i for i, _ in column], np.int32)
        counts = np.array([float(n) for _, n in column])
        if self.capped:
            for place, (row, n) in enumerate(column):
                if n > 1 and row < self.parts:
                    self._several[row].append((n, number))
                    counts[place] = _counted(n, self.need[row])
        self._lp.addCol(cost, 0.0, highspy.kHighsInf, len(column), rows, counts)
        self._grown = True
        return number

    def bar(self, number: int) -> None:
        """Use a pattern no more.

        >>> master = Master([4], [], 100.0)
        >>> _ = master.add(((0, 2),), 1.0), master.add(((0, 1),), 1.0)
        >>> master.bar(0)
        >>> master.solve()
        >>> round(master.objective, 6)
        4.0
        """
        self._lp.changeColBounds(self.parts + number, 0.0, 0.0)

    def renew(self, need: Sequence[int], have: Sequence[int]) -> None:
        """The same patterns for other needs and stock; the next answer begins from the last one.

        >>> master = Master([4], [], 100.0)
        >>> _ = master.add(((0, 2),), 1.0)
        >>> master.renew([6], [])
        >>> master.solve()
        >>> round(master.objective, 6)
        3.0
        """
        for row, (n, before) in enumerate(zip(need, self.need, strict=True)):
            if n != before:
                self._lp.changeRowBounds(row, float(n), highspy.kHighsInf)
                for count, number in self._several[row]:
                    now = _counted(count, n)
                    if now != _counted(count, before):
                        self._lp.changeCoeff(row, self.parts + number, float(now))
        for row, (n, before) in enumerate(zip(have, self.have, strict=True), len(need)):
            if n != before:
                self._lp.changeRowBounds(row, -highspy.kHighsInf, float(n))
        self.need = list(need)
        self.have = list(have)

    def solve(self) -> None:
        """Find the least cost; the answer is in `objective`, `duals` and :meth:`weights`."""
        # With new patterns the last answer still meets all needs; with other needs its prices still hold.
        self._lp.setOptionValue("simplex_strategy", _PRIMAL if self._grown else _DUAL)
        self._grown = False
        self._lp.run()
        answer = self._lp.getSolution()
        self.duals = list(answer.row_dual)
        self.levels = list(answer.col_value)[self.parts :]
        self.objective = float(self._lp.getInfo().objective_function_value)

    def weights(self) -> list[tuple[int, float]]:
        """(pattern, how often) of the patterns in use, by rising number."""
        return [(j, level) for j, level in enumerate(self.levels) if level > 1e-7]

    def prices(self) -> list[int]:
        """What one piece of each part is worth, whole numbers; the dearest pattern costs 2 ** PRICE_BITS."""
        return [max(round(d * (1 << PRICE_BITS)), 0) for d in self.duals[: self.parts]]

    def within(self, limit: float | None) -> list[int]:
        """The patterns that a choice can use which costs no more than `limit`, all of them without one.

        A pattern that lifts the least cost beyond it by its reduced cost is left out.
        """
        used = list(range(len(self.columns)))
        if limit is None:
            return used
        return [j for j in used if self.objective + self.beyond(j) < limit + 1e-9]

    def beyond(self, number: int) -> float:
        """The reduced cost of a pattern: what using it once lifts the least cost by, at least."""
        return self.costs[number] - sum([self.duals[i] * n for i, n in self.columns[number]])

    def whole(
        self, nodes: int, used: Sequence[int] | None = None, *, helped: bool = True
    ) -> list[int] | None:
        """Uses of each pattern in whole numbers, every need met; None when none was found.

        Only the patterns `used` are looked at, all of them without. Unless it is `helped`, the solver makes
        no searches of its own beside its nodes. The answer was counted again.
        """
        used = range(len(self.columns)) if used is None else used
        count = len(used)
        if count == 0:
            return None
        model = _solver()
        for name, value in (
            ("mip_max_nodes", nodes),
            ("mip_rel_gap", 0.0),
            ("mip_max_stall_nodes", max(nodes // 2, 1)),
            ("mip_detect_symmetry", False),
            *((name, helped) for name in _HELPS),
        ):
            model.setOptionValue(name, value)
        for n in self.need:
            model.addRow(float(n), highspy.kHighsInf, 0, _INTS, _FLOATS)
        for n in self.have:
            model.addRow(-highspy.kHighsInf, float(n), 0, _INTS, _FLOATS)
        for column, cost in ((self.columns[j], self.costs[j]) for j in used):
            rows = np.array([i for i, _ in column], np.int32)
            counts = np.array([float(n) for _, n in column])
            model.addCol(cost, 0.0, highspy.kHighsInf, len(column), rows, counts)
        model.changeColsIntegrality(
            count, np.arange(count, dtype=np.int32), np.array([highspy.HighsVarType.kInteger] * count)
        )
        model.run()
        levels = list(model.getSolution().col_value)
        if len(levels) != count:
            return None
        uses = [0] * len(self.columns)
        for j, level in zip(used, levels, strict=True):
            uses[j] = max(round(level), 0)
        return uses if self._meets(uses) else None

    def _meets(self, uses: Sequence[int]) -> bool:
        sums = [0] * (self.parts + len(self.have))
        for column, n in zip(self.columns, uses, strict=True):
            for row, count in column if n else ():
                sums[row] += n * count
        return all(a >= b for a, b in zip(sums, self.need, strict=False)) and all(
            a <= b for a, b in zip(sums[self.parts :], self.have, strict=True)
        )


def _counted(n: int, need: int) -> int:
    """How often a pattern counts for a part; where none is needed any more it does not matter."""
    return min(n, max(need, 1))


_HELPS: Final = ("mip_heuristic_run_rins", "mip_heuristic_run_rens", "mip_heuristic_run_root_reduced_cost")
_DUAL: Final = 1
_PRIMAL: Final = 4
"""The simplex methods of the solver by its numbers."""
_INTS = np.zeros(0, np.int32)
_FLOATS = np.zeros(0)
