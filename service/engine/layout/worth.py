"""Filling stock with what is worth most: parts carry a value, their quantity is the most that is wanted.

For one piece of stock the exact table (:mod:`.grid`) tells the most that it can hold when copies are
not limited; prices for pieces beyond the limit (:mod:`.most_worth`) lower that to a bound for limited
copies. Layouts come from the table itself when it asks for no more than is wanted, else from the search
that keeps to the limits (:mod:`.joins`, :mod:`.hunt`), helped by tables of a few layouts a size
(:mod:`.limited`) where that does not prove the best.

Several pieces are filled one after another, in more than one order; then layouts are chosen out of all
that were met on the way (:mod:`.linear`), and pieces are emptied and filled anew, two at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import permutations
from typing import Final, TypeAlias

from service.engine.layout.bound import usable
from service.engine.layout.context import AXES, Context, Pattern, Solution
from service.engine.layout.grid import Grid, Shape
from service.engine.layout.hunt import Hunt
from service.engine.layout.joins import Joins
from service.engine.layout.limited import Limited
from service.engine.layout.linear import Master
from service.engine.layout.most_worth import Wanted, held_to_counts, most_of
from service.engine.layout.stock import StockType
from service.engine.layout.values import most_by_area, whole_values
from service.engine.order import Effort
from service.engine.quantities import Length

_PLACES: Final[dict[Effort, int]] = {"quick": 150, "standard": 300, "thorough": 600}
"""Places along each axis where the limits count."""
_ALL_PLACES: Final[dict[Effort, int]] = {"quick": 400, "standard": 3000, "thorough": 4000}
"""Places along each axis of the table without limits."""
_ROUNDS: Final[dict[Effort, int]] = {"quick": 20, "standard": 60, "thorough": 200}
_JOINS: Final[dict[Effort, int]] = {"quick": 20_000_000, "standard": 200_000_000, "thorough": 1_000_000_000}
"""Joins of two layouts that are looked at: for each piece half of what the pieces before it left."""
_KEEPS: Final = (1, 2, 4, 8, 16, 32, 64)
_TABLES: Final[dict[Effort, int]] = {"quick": 5_000_000, "standard": 12_000_000, "thorough": 120_000_000}
"""Joins in tables that keep to the counts, for a piece of the first order: no table is begun beyond."""
_TABLES_LATER: Final = 20
"""The part of that for pieces filled in other orders, and anew."""
_JOINS_A_STEP: Final = 20
_LOOKS: Final[dict[Effort, int]] = {"quick": 8, "standard": 16, "thorough": 60}
"""Pieces filled beyond those of the first order: half of them in other orders, the others anew."""
_ORDERS: Final = 4
_CHOSEN_FROM: Final = 1500
"""Layouts chosen from."""
_NODES: Final = 500

Rows: TypeAlias = list[tuple[Pattern, int]]


class Worth:
    """Fills the stock of one context with the greatest worth it finds."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self.effort = context.job.options.effort
        self.rooms = [usable(t, context.trim) for t in context.types]
        wide, high = (max((room[side] for room in self.rooms), default=0) for side in (0, 1))
        self.values, self.scale = whole_values(context.all_kinds, (wide, high))
        self.pieces = [min(t.quantity, sum(context.demand)) for t in context.types]
        # Bounds: of one piece of each type, and of all the stock.
        self._most = [self._by_area(context.demand, w * h) for w, h in self.rooms]
        self.bound = self._by_area(
            context.demand, sum(n * w * h for n, (w, h) in zip(self.pieces, self.rooms, strict=True))
        )
        self.joins = _JOINS[self.effort]
        self.tables = _TABLES[self.effort]
        self._spare = 0
        self._prices = [0] * len(self.values)
        self._built: dict[tuple[int, tuple[int, ...]], Pattern | None] = {}
        self._known: dict[tuple[int, tuple[int, ...]], Pattern | None] = {}

    def fill(self) -> Solution:
        """The plan; :attr:`bound` then is a worth that no plan from this stock exceeds."""
        types = list(self.context.types)
        best = self._filled(types, self._plainly)
        several = sum(self.pieces) > 1
        if several and not self._over(best):
            self._price_counts()
        looks = _LOOKS[self.effort]
        for turn in range(min(len(types), _ORDERS)):
            if self._over(best) or 2 * looks <= _LOOKS[self.effort]:
                break
            # Another type comes first each time, the last ones sooner: sheets after offcuts.
            first = types[-turn]
            known = len(self._known)
            found = self._filled([first, *(t for t in types if t is not first)], self._best)
            best = max(best, found, key=self._worth)
            looks -= len(self._known) - known if turn else 0
            self.tables = _TABLES[self.effort] // _TABLES_LATER
        if several and self._worth(best) < self.bound:
            best = max(best, self._chosen(), key=self._worth)
            best = self._anew(best, looks)
        return self.context.solution(best, self._left(best))

    def _worth(self, rows: Rows) -> int:
        return sum(repeat * self._value(pattern) for pattern, repeat in rows)

    def _value(self, pattern: Pattern | None) -> int:
        return 0 if pattern is None else sum(self.values[kind] * n for kind, n in pattern.use)

    def _left(self, rows: Rows) -> list[int]:
        left = list(self.context.demand)
        for pattern, repeat in rows:
            for kind, n in pattern.use:
                left[kind] -= n * repeat
        return left

    def _by_area(self, counts: Sequence[int], room: int) -> int:
        return most_by_area(self.values, self.context.areas, counts, room)

    def _over(self, rows: Rows) -> bool:
        """Whether nothing can be better, or the caller has said stop."""
        return not self._spent(0) or self._worth(rows) >= self.bound

    def _spent(self, steps: int) -> bool:
        """Count the steps as effort; whether the caller lets the search go on."""
        self.context.other_steps += steps
        return not self.context.ended()

    def _joined(self, joins: int) -> bool:
        """As :meth:`_spent`, for joins of layouts."""
        self._spare += joins
        steps, self._spare = divmod(self._spare, _JOINS_A_STEP)
        return self._spent(steps)

    def _filled(
        self, order: Sequence[StockType], fill: Callable[[StockType, Sequence[int]], Pattern | None]
    ) -> Rows:
        """All pieces one after another, until the caller says stop; what comes first may be repeated."""
        left = list(self.context.demand)
        rows: Rows = []
        for stock in order:
            pieces = self.pieces[stock.index]
            while pieces > 0 and any(n and v for n, v in zip(left, self.values, strict=True)):
                pattern = fill(stock, left)
                if pattern is None:
                    break
                repeat = min([pieces, *(left[kind] // n for kind, n in pattern.use)])
                rows.append((pattern, repeat))
                pieces -= repeat
                for kind, n in pattern.use:
                    left[kind] -= n * repeat
                if self.context.stopped and fill != self._plainly:
                    return rows
        return rows

    def _price_counts(self) -> None:
        """Prices on the counts over all the stock: they bound it, and give layouts to choose from."""
        context = self.context
        wanted = Wanted(self.values, self._of_value(context.demand))
        grid = self._grid(self.rooms, context.demand, _PLACES[self.effort])

        def met(room: int, shape: Shape) -> None:
            context.carve(context.types[room], shape, self.values, context.demand)

        rounds = _ROUNDS[self.effort]
        bound, self._prices = held_to_counts(
            grid, self.pieces, wanted, rounds if self._proves(grid) else rounds // 2, self._spent, met=met
        )
        if not self._proves(grid):
            bound = self._measured(self.rooms, self.pieces, context.demand)
        self.bound = min(self.bound, bound)

    def _measured(
        self, rooms: Sequence[tuple[Length, Length]], pieces: Sequence[int], counts: Sequence[int]
    ) -> int:
        wanted = Wanted(self.values, self._of_value(counts))
        rounds = _ROUNDS[self.effort] // 4
        kinds, levels = self.context.all_kinds, self.context.bound_levels
        return most_of(kinds, rooms, pieces, wanted, levels, rounds, self._spent)

    def _of_value(self, counts: Sequence[int]) -> list[int]:
        return [n if v else 0 for n, v in zip(counts, self.values, strict=True)]

    def _chosen(self) -> Rows:
        """The best choice in whole numbers found among the layouts that were met."""
        context = self.context
        reduced = [v - p for v, p in zip(self.values, self._prices, strict=True)]

        def promise(pattern: Pattern) -> tuple[int, int, int]:
            return -sum(reduced[kind] * n for kind, n in pattern.use), pattern.stock, pattern.handling

        met = sorted((p for p in context.pool.values() if self._value(p)), key=promise)[:_CHOSEN_FROM]
        top = max(map(self._value, met), default=1)
        master = Master([], [*context.demand, *self.pieces], 1.0)
        for pattern in met:
            column = (*sorted(pattern.use), (len(context.demand) + pattern.stock, 1))
            master.add(column, -self._value(pattern) / top)
        repeats = master.whole(_NODES) or []
        return [(pattern, n) for pattern, n in zip(met, repeats, strict=False) if n]

    def _anew(self, best: Rows, looks: int) -> Rows:
        """Two pieces at a time emptied and filled anew, the second first, as long as it gains something."""
        gained = True
        while gained:
            gained, best = False, self._merged(best)
            for one, two in permutations(self._pieces_of(best), 2):
                if looks <= 0 or self._over(best):
                    return best
                known = len(self._known)
                rows = [(p, n - (p is one[1]) - (p is two[1])) for p, n in best]
                rows = [(p, n) for p, n in rows if n]
                for stock, _ in (two, one):
                    pattern = self._best(stock, self._left(rows))
                    if pattern is not None:
                        rows.append((pattern, 1))
                looks -= len(self._known) - known
                if self._worth(rows) > self._worth(best):
                    best, gained = rows, True
                    break
        return best

    def _merged(self, rows: Rows) -> Rows:
        """The rows with each pattern once."""
        merged: dict[int, tuple[Pattern, int]] = {}
        for pattern, n in rows:
            merged[id(pattern)] = pattern, n + merged.get(id(pattern), (pattern, 0))[1]
        return list(merged.values())

    def _pieces_of(self, rows: Rows) -> list[tuple[StockType, Pattern | None]]:
        """A piece of each layout in use, two where it is used more often, and a spare one of each type."""
        found: list[tuple[StockType, Pattern | None]] = []
        spare = list(self.pieces)
        for pattern, repeat in rows:
            found += [(self.context.types[pattern.stock], pattern)] * min(repeat, 2)
            spare[pattern.stock] -= repeat
        found += [(t, None) for t, n in zip(self.context.types, spare, strict=True) if n > 0]
        return found

    def _grid(self, rooms: Sequence[tuple[Length, Length]], counts: Sequence[int], most: int) -> Grid:
        context, counts = self.context, self._of_value(counts)
        return Grid(context.filler.variants, counts, rooms, context.stages, most, context.ask)

    def _proves(self, grid: Grid) -> bool:
        """Whether what a table for layouts tells bounds every plan: with too few levels it does not."""
        return grid.exact and self.context.stages >= self.context.bound_levels

    def _plainly(self, stock: StockType, left: Sequence[int]) -> Pattern | None:
        """A pattern of strips, or of a single part."""
        key = stock.index, tuple(left)
        if key not in self._built:
            found = [self.context.build(stock, axis, self.values, left) for axis in AXES]
            found.append(self.context.fallback(stock, self._of_value(left)))
            best = max(found, key=self._value)
            self._built[key] = best if self._value(best) else None
        return self._built[key]

    def _best(self, stock: StockType, left: Sequence[int]) -> Pattern | None:
        """The most valuable pattern found for one piece; with all parts left, the piece is bounded too."""
        key = stock.index, tuple(left)
        if key not in self._known:
            most = min(self._most[stock.index], self._by_area(left, _area(self.rooms[stock.index])))
            found, most = self._filled_best(stock, left, most)
            if self.context.stopped:
                return found
            self._known[key] = found
            if list(left) == self.context.demand:
                self._most[stock.index] = most
                self.bound = min(self.bound, sum(n * m for n, m in zip(self.pieces, self._most, strict=True)))
        return self._known[key]

    def _filled_best(self, stock: StockType, left: Sequence[int], most: int) -> tuple[Pattern | None, int]:
        """A pattern for one piece, and a bound on any; `most` is one that is known."""
        context = self.context
        best = self._plainly(stock, left)

        def offer(pattern: Pattern | None) -> None:
            nonlocal best
            if self._value(pattern) > self._value(best):
                best = pattern

        room = self.rooms[stock.index]
        every = self._grid([room], left, _ALL_PLACES[self.effort])
        shape: Shape | None = None
        if max(len(every.xs), len(every.ys)) > _PLACES[self.effort] and every.unlimited:
            coarse = self._grid([room], left, _PLACES[self.effort] // 2)
            coarse.price(self.values)
            top = every.tops(self.values, coarse)[0]
            shape = every.layout(self.values, 0)
        else:
            top = every.price(self.values)[0]
            shape = next(iter(every.shapes(0, 1, 0)), None)
        if self._proves(every):
            most = min(most, top)
        if shape is not None:
            offer(context.carve(stock, shape, self.values, left))
        if not self._spent(every.work // 100) or self._value(best) >= most:
            return best, most
        few = self._grid([room], left, _PLACES[self.effort])
        wanted = Wanted(self.values, left)
        lowest, multipliers = held_to_counts(few, [1], wanted, _ROUNDS[self.effort], self._spent)
        exact = self._proves(few)
        if exact:
            most = min(most, lowest)
        elif list(left) == context.demand:
            most = min(most, self._measured([room], [1], left))
        if not self._spent(len(few.xs) * len(few.ys) // 10):
            return best, most
        joins = Joins(few, left, self.values, multipliers, self._joined)
        if exact:
            most = min(most, joins.most)

        def accept(found: Shape) -> int:
            pattern = context.carve(stock, found, self.values, left)
            offer(pattern)
            return self._value(pattern)

        hunt = Hunt(joins, accept, self.joins // 2, self._value(best), most, exact)
        hunt.begin()
        if not hunt.over:
            for found in self._scarce(few, left, multipliers, lambda: hunt.over):
                hunt.accept(found)
            hunt.finish()
        self.joins -= joins.work
        return best, hunt.most

    def _scarce(
        self, grid: Grid, left: Sequence[int], multipliers: Sequence[int], done: Callable[[], bool]
    ) -> Iterator[Shape]:
        """Layouts of the tables that keep to the counts, with prices on the counts taken off or not."""
        work = 0
        for keep in _KEEPS:
            for share in (0, 1, 2) if any(multipliers) else (0,):
                if done() or work > self.tables:
                    return
                tables = Limited(grid, left, keep)
                ranked = [max(v - m * share // 2, 0) for v, m in zip(self.values, multipliers, strict=True)]
                yield from tables.layouts(ranked, self.values)
                work += tables.work
                self._joined(tables.work)


def _area(room: tuple[Length, Length]) -> int:
    return room[0] * room[1]
