"""The search for layouts: patterns by sequential value correction, then improvement of the worst sheets.

Effort is counted in steps of the pattern filling and never in seconds, all values are whole numbers,
and every tie is broken by rule, so that equal input gives equal layouts everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.engine.layout import rules
from service.engine.layout.assign import Lines, merged
from service.engine.layout.bound import lower_bound
from service.engine.layout.job import Division, Found, Job
from service.engine.layout.kinds import Kind, kinds_of
from service.engine.layout.patterns import Filler, Grain
from service.engine.layout.refusals import alone, why_not
from service.engine.layout.stock import StockType, stock_types
from service.engine.layout.tree import Builder, leaves, stages_of
from service.engine.order import Effort
from service.engine.plan import Axis, Node, Unplaced

BUDGET: Final[dict[Effort, int]] = {"quick": 800_000, "standard": 4_000_000, "thorough": 40_000_000}
"""Steps after which no further round is begun."""

_GRAINS: Final[dict[Effort, Grain]] = {
    "quick": Grain(64, 128, 4),
    "standard": Grain(96, 256, 8),
    "thorough": Grain(192, 512, 16),
}
_ACTIVE: Final = 40
"""Kinds looked at for one pattern when there are many."""

_AXES: Final[tuple[Axis, Axis]] = ("y", "x")


@dataclass(frozen=True, slots=True)
class Pattern:
    """A tree for one type of stock and what it gives."""

    stock: int
    tree: Node
    use: tuple[tuple[int, int], ...]
    parts_area: int
    offcut_worth: int
    handling: int


@dataclass(frozen=True, slots=True)
class Solution:
    """Patterns with their repeats, and the pieces of each kind that found no place."""

    rows: tuple[tuple[Pattern, int], ...]
    left: tuple[int, ...]
    rank: tuple[int, ...]


class Search:
    """One run over one job."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.trim = job.options.trim
        self.types = stock_types(job.stock, self.trim)
        self.parts = {part.ref: part for part in job.parts}
        self.all_kinds = kinds_of(job.parts)
        self.grain = _GRAINS[job.options.effort]
        self.stages = job.options.max_stages
        self.filler = Filler(job.machine, self.trim, job.longest, self.all_kinds)
        self.builder = Builder(self.filler, self.all_kinds, self.parts, job.options.offcut_min)
        self.lines = Lines(self.all_kinds)
        self.unplaced: list[tuple[Kind, int, str, str]] = []
        self.demand = [kind.quantity for kind in self.all_kinds]
        self.areas = [kind.area for kind in self.all_kinds]
        self.singles: dict[tuple[int, int], Pattern | None] = {}
        self._sort_out()
        self.budget = BUDGET[job.options.effort]

    def _sort_out(self) -> None:
        """Put aside the kinds that no stock piece gives at all."""
        for kind in self.all_kinds:
            if any(self.single(kind.index, t) is not None for t in self.types):
                continue
            refused = why_not(self.filler, kind, self.types, self.stages, self.job.machine.cutting_length)
            self.unplaced.append((kind, kind.quantity, refused.code, refused.reason))
            self.demand[kind.index] = 0

    def single(self, kind: int, stock: StockType) -> Pattern | None:
        """The pattern of one part alone, None when this stock gives none."""
        key = (kind, stock.index)
        if key not in self.singles:
            node = alone(self.builder, self.all_kinds[kind], stock, self.stages)
            self.singles[key] = None if node is None else self._pattern(stock, node)
        return self.singles[key]

    def _pattern(self, stock: StockType, tree: Node) -> Pattern | None:
        """The tree as a pattern, None when the machine could not cut it after all."""
        walked = rules.walk(self.job.machine, tree, stock.piece, self.parts, self.trim, self.job.longest)
        if isinstance(walked, str) or stages_of(tree) > self.stages:
            return None
        use = tuple(self.lines.use(tree).items())
        if not use:
            return None
        worth = 0
        sizes: set[tuple[int, int]] = set()
        count = 0
        for leaf in leaves(tree):
            count += 1
            sizes.add((leaf.dx, leaf.dy))
            if leaf.kind == "offcut":
                # Squared, so that one large offcut is worth more than two halves.
                worth += (leaf.dx * leaf.dy) ** 2
        area = sum(self.areas[kind] * n for kind, n in use)
        return Pattern(stock.index, tree, use, area, worth, 4 * len(sizes) + count)

    def build(
        self, stock: StockType, axis: Axis, values: Sequence[int], caps: Sequence[int], grain: Grain
    ) -> Pattern | None:
        """One pattern for that stock, cut along `axis` first."""
        left = list(caps)
        node = self.builder.fill(stock.piece, (0, 0), axis, self.stages, values, left, grain)
        return None if node is None else self._pattern(stock, node)

    def fallback(self, stock: StockType, caps: Sequence[int]) -> Pattern | None:
        """The single-part pattern of the largest kind still wanted."""
        for kind, cap in enumerate(caps):
            if cap > 0:
                pattern = self.single(kind, stock)
                if pattern is not None:
                    return pattern
        return None

    def active(self, left: Sequence[int], turn: int) -> list[int]:
        """`left`, with kinds blanked out when there are too many to look at: the largest stay."""
        live = [kind for kind, n in enumerate(left) if n > 0]
        if len(live) <= _ACTIVE:
            return list(left)
        head = _ACTIVE // 3
        others = live[head:]
        stride = max(len(others) // (_ACTIVE - head), 1)
        keep = set(live[:head]) | set(others[turn % stride :: stride][: _ACTIVE - head])
        return [n if kind in keep else 0 for kind, n in enumerate(left)]

    def one_pass(
        self,
        values: list[int],
        demand: Sequence[int],
        stock_left: list[int],
        threshold: int,
        axes: Sequence[Axis],
    ) -> tuple[list[tuple[Pattern, int]], list[int]]:
        """Patterns one after another until all is placed or the stock is used up.

        `values` are corrected after each pattern: parts that ended in wasteful company become
        worth more, so that the next pass places them earlier. Offcuts are taken first when parts
        fill at least `threshold` thousandths of them.
        """
        left = list(demand)
        rows: list[tuple[Pattern, int]] = []
        for stock in self.types:
            if not stock.offcut:
                continue
            while stock_left[stock.index] > 0 and any(left):
                pattern = self._best(stock, axes[:1], values, left, len(rows))
                if pattern is None or pattern.parts_area * 1000 < threshold * stock.area:
                    break
                self._take(pattern, rows, left, stock_left, values)
        while any(left):
            best: Pattern | None = None
            for stock in self.types:
                if stock_left[stock.index] <= 0 or (stock.offcut and best is not None):
                    continue
                if stock.offcut and any(stock_left[t.index] > 0 and not t.offcut for t in self.types):
                    continue
                pattern = self._best(stock, axes, values, left, len(rows))
                if pattern is not None and (best is None or self._better(pattern, best, values)):
                    best = pattern
            if best is None:
                for stock in self.types:
                    if stock_left[stock.index] > 0:
                        best = self._best(stock, axes, values, left, len(rows)) or self.fallback(stock, left)
                        if best is not None:
                            break
            if best is None:
                break
            self._take(best, rows, left, stock_left, values)
        return rows, left

    def _best(
        self,
        stock: StockType,
        axes: Sequence[Axis],
        values: Sequence[int],
        left: Sequence[int],
        turn: int,
    ) -> Pattern | None:
        caps = self.active(left, turn)
        best: Pattern | None = None
        for axis in axes:
            pattern = self.build(stock, axis, values, caps, self.grain)
            if pattern is not None and (best is None or self._better(pattern, best, values)):
                best = pattern
        return best if best is not None else self.fallback(stock, caps)

    def _better(self, a: Pattern, b: Pattern, values: Sequence[int]) -> bool:
        """Whether `a` gives more value for its cost; then the larger offcut, then less handling."""
        worth_a = sum(values[kind] * n for kind, n in a.use) * self.types[b.stock].cost
        worth_b = sum(values[kind] * n for kind, n in b.use) * self.types[a.stock].cost
        return (worth_a, a.offcut_worth, -a.handling) > (worth_b, b.offcut_worth, -b.handling)

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

    def solution(self, rows: Sequence[tuple[Pattern, int]], left: Sequence[int]) -> Solution:
        """Ranked: what is left out, cost, pieces, offcuts worth, handling."""
        unplaced = sum(n * self.areas[kind] for kind, n in enumerate(left))
        cost = sum(self.types[p.stock].cost * n for p, n in rows)
        pieces = sum(n for _, n in rows)
        fresh = sum(n for p, n in rows if not self.types[p.stock].offcut)
        worth = sum(p.offcut_worth * n for p, n in rows)
        handling = sum(p.handling for p, _ in rows)
        return Solution(tuple(rows), tuple(left), (unplaced, cost, fresh, pieces, -worth, handling))

    def run(self) -> Found:
        """The whole search."""
        best: Solution | None = None
        stopped = False
        if any(self.demand):
            best = self._rounds()
            stopped = self.filler.steps >= self.budget
        return self._found(best, stopped)

    def _rounds(self) -> Solution:
        plans: tuple[tuple[int, tuple[Axis, ...], int], ...] = (
            (0, ("y", "x"), 850),
            (1, ("x", "y"), 700),
            (2, ("y", "x"), 930),
            (0, ("y",), 500),
            (0, ("x",), 2000),
            (1, ("y",), 900),
            (1, ("x",), 0),
        )
        best: Solution | None = None
        values: list[int] = []
        largest = max(self.areas)
        turn = 0
        floor = self._floor()
        rounds = {"quick": 6, "standard": 24, "thorough": 200}[self.job.options.effort]
        while turn < rounds:
            start, axes, threshold = plans[turn % len(plans)]
            if turn < 3:
                values = [a if start == 0 else a + a * start * a // (4 * largest) for a in self.areas]
            elif turn >= len(plans):
                axes = _AXES
            rows, left = self.one_pass(values, self.demand, [t.quantity for t in self.types], threshold, axes)
            found = self.solution(rows, left)
            if best is None or found.rank < best.rank:
                best = found
            turn += 1
            if best.rank[:2] <= (0, floor) and turn >= 3:
                break
            if self.filler.steps >= self.budget:
                break
        assert best is not None
        return best

    def _floor(self) -> int:
        """Cost below which nothing can be, when everything is placed."""
        from service.engine.layout.bound import cover_cost

        area = sum(a * n for a, n in zip(self.areas, self.demand, strict=True))
        return cover_cost(self.types, [t.cost for t in self.types], self.trim, area)

    def _found(self, best: Solution | None, stopped: bool) -> Found:
        divisions: list[Division] = []
        stock_items = {t.index: [list(item) for item in t.items] for t in self.types}
        if best is not None:
            for pattern, repeat in best.rows:
                left = repeat
                for item in stock_items[pattern.stock]:
                    count = min(left, int(item[1]))
                    if count > 0:
                        item[1] = int(item[1]) - count
                        left -= count
                        divisions.extend(
                            Division(str(item[0]), n, tree)
                            for tree, n in self.lines.serve(pattern.tree, count)
                        )
        return self._close(divisions, best, stopped)

    def _close(self, divisions: list[Division], best: Solution | None, stopped: bool) -> Found:
        unplaced: list[Unplaced] = []
        for kind, _, code, reason in self.unplaced:
            unplaced.extend(Unplaced(ref, n, code, reason) for ref, n, _ in kind.wanted)
        for index, lines in enumerate(self.lines.left):
            if self.demand[index] == 0:
                continue
            unplaced.extend(
                Unplaced(str(ref), int(n), "stock-exhausted", "the stock that it fits on is used up")
                for ref, n, _ in lines
                if n > 0
            )
        order = {part.ref: place for place, part in enumerate(self.job.parts)}
        unplaced.sort(key=lambda u: order[u.ref])
        missing = {u.ref: u.quantity for u in unplaced}
        placed = {part.ref: part.quantity - missing.get(part.ref, 0) for part in self.job.parts}
        done = merged(divisions)
        bound = lower_bound(self.job, placed, done)
        return Found(done, tuple(unplaced), bound, self.filler.steps, stopped)


def find_layouts(job: Job) -> Found:
    """Divide the stock of a job into its parts.

    Every tree returned can be cut by the job's machine: it passes :func:`rules.walk`. The demand is
    met exactly, or what is missing is listed with the reason.
    """
    return Search(job).run()
