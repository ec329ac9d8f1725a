"""What every part of the search shares: the job in kinds and stock types, and how patterns are made.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from service.engine.layout.assign import Lines
from service.engine.layout.bound import Least, bound_levels
from service.engine.layout.carve import carve
from service.engine.layout.ends import strip_lengths, without_ends
from service.engine.layout.grid import Shape
from service.engine.layout.job import Job, SoFar
from service.engine.layout.kinds import Kind, kinds_of
from service.engine.layout.patterns import Filler
from service.engine.layout.prices import ANY_LEVELS
from service.engine.layout.refusals import alone, class_that_would_do, why_not
from service.engine.layout.rules import Piece
from service.engine.layout.shapes import Grain, Wish
from service.engine.layout.stock import StockType, cost_scale, in_money, stock_types
from service.engine.layout.tree import Builder, Region, stages_of
from service.engine.layout.walk import walk
from service.engine.order import Effort
from service.engine.plan import Axis, Leaf, Node, Split, leaves
from service.engine.quantities import Length, show_mm
from service.engine.tolerance import class_deviation

BUDGET: Final[dict[Effort, int]] = {"quick": 800_000, "standard": 5_000_000, "thorough": 40_000_000}
"""Steps after which no further round is begun."""
_LIMITED: Final[dict[Effort, int]] = {"quick": 86, "standard": 100, "thorough": 150}
"""So many hundredths of them where levels of cuts are limited: strips are filled by the rules of the machine
there, and with few tables a step takes longer."""

_GRAINS: Final[dict[Effort, Grain]] = {
    "quick": Grain(64, 128, 4),
    "standard": Grain(96, 256, 10),
    "thorough": Grain(192, 512, 24),
}
_PER_PIECE: Final[dict[Effort, int]] = {"quick": 10_000, "standard": 50_000, "thorough": 500_000}
"""Steps for each piece wanted: small orders end early."""

_ACTIVE: Final[dict[Effort, int]] = {"quick": 16, "standard": 32, "thorough": 48}
"""Kinds looked at for one pattern when there are many."""

AXES: Final[tuple[Axis, Axis]] = ("y", "x")

_LENGTHS: Final = 8
"""Lengths of strips tried for one sheet that is cut up in one direction."""

_ASK_EVERY: Final = 20_000
"""Steps after which the caller is asked again whether to go on."""


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


class Context:
    """One search over one job: what it may use, and the effort spent."""

    def __init__(
        self,
        job: Job,
        stop: Callable[[], bool] | None = None,
        told: Callable[[SoFar], None] | None = None,
    ) -> None:
        self.job = job
        self._stop = stop
        self._told = told
        self._best: tuple[int, ...] | None = None
        self._ask_at = 0
        self.stopped = False
        self.trim = job.options.trim
        self.types = stock_types(job.stock, self.trim)
        self.most = None if job.most is None else int(job.most * cost_scale(job.stock))
        self.parts = {part.ref: part for part in job.parts}
        self.all_kinds = kinds_of(job.parts)
        self.grain = _GRAINS[job.options.effort]
        self.stages = job.options.max_stages
        sheets = [t.piece for t in self.types if not t.offcut]
        self.filler = Filler(job.machine, self.trim, job.longest, self.all_kinds, sheets)
        self.builder = Builder(self.filler, self.all_kinds, self.parts, job.options.offcut_min)
        self.lines = Lines(self.all_kinds)
        self.refused: list[tuple[Kind, str, str]] = []
        self.demand = [kind.quantity for kind in self.all_kinds]
        self.areas = [kind.area for kind in self.all_kinds]
        self.pool: dict[tuple[int, tuple[tuple[int, int], ...]], Pattern] = {}
        self.singles: dict[tuple[int, int], Pattern | None] = {}
        effort = job.options.effort
        share = 100 if self.stages >= ANY_LEVELS else _LIMITED[effort]
        self.budget = min(BUDGET[effort] * share // 100, _PER_PIECE[effort] * sum(self.demand))
        self.most_active = _ACTIVE[effort]
        self.other_steps = 0
        self.prices: list[int] = []
        self.least: Least | None = None
        self.sort_out()

    @property
    def steps(self) -> int:
        """Effort spent so far."""
        return self.filler.steps + self.other_steps

    def ask(self) -> bool:
        """Ask the caller whether to stop; once he has said so it is so for good."""
        self._ask_at = self.steps + _ASK_EVERY
        self.stopped = self.stopped or (self._stop is not None and self._stop())
        return self.stopped

    def ended(self) -> bool:
        """Whether the caller has said stop; he is asked now and then, as steps are spent."""
        return self.ask() if self.steps >= self._ask_at else self.stopped

    def reached(self, ceiling: int) -> bool:
        """Whether so many steps are spent, or the caller has said stop (:meth:`ended`)."""
        return self.ended() or self.steps >= ceiling

    @property
    def bound_levels(self) -> int:
        """Levels of cuts of a table that bounds the plans of this search."""
        return bound_levels(self.stages)

    @contextmanager
    def rough(self) -> Iterator[Callable[[], int]]:
        """Patterns are made roughly meanwhile, and the effort is not counted; gives the steps so far.

        That is for a first plan, which takes as many steps as the order has patterns, however much effort
        there is for a better one.
        """
        grain, before = self.grain, self.steps
        self.grain = _GRAINS["quick"]
        try:
            yield lambda: self.steps - before
        finally:
            self.grain = grain
        if not self.stopped:
            self.budget += self.steps - before

    def go_on_from(self, first: Context) -> None:
        """Take over what a search of less effort over the same job knows, and count what it has spent."""
        self.pool.update(first.pool)
        self.other_steps += first.steps
        self.least, self.prices = first.least, first.prices
        self.stopped = first.stopped
        self._best = first._best

    def sort_out(self) -> None:
        """Put aside the kinds that no stock piece gives at all."""
        for kind in self.all_kinds:
            if any(self.single(kind.index, t) is not None for t in self.types):
                continue
            refused = why_not(self.filler, kind, self.types, self.stages, self.job.machine.cutting_length)
            self.refused.append((kind, refused.code, refused.reason + self._wider(kind, refused.code)))
            self.demand[kind.index] = 0

    def _wider(self, kind: Kind, code: str) -> str:
        """Which general tolerance would let a kind be gauged, as the end of a reason; empty where none."""
        if code != "no-gauging":
            return ""
        wider = class_that_would_do(self.job, [self.parts[ref] for ref, _, _ in kind.wanted], self.types)
        if wider is None:
            return ""
        limits = dict.fromkeys(show_mm(class_deviation(wider, side)) for side in (kind.length, kind.width))
        return f"; tolerance class {wider} (±{' and ±'.join(limits)} mm) would do"

    def single(self, kind: int, stock: StockType) -> Pattern | None:
        """The pattern of one part alone, None when this stock gives none."""
        key = (kind, stock.index)
        if key not in self.singles:
            node = alone(self.builder, self.all_kinds[kind], stock, self.stages)
            self.singles[key] = None if node is None else self._pattern(stock, node)
        return self.singles[key]

    def _pattern(self, stock: StockType, tree: Node) -> Pattern | None:
        """The tree as a pattern, None when the machine could not cut it after all."""
        count = sum(1 for _ in leaves(tree))
        self.other_steps += 40 * count
        use = tuple(self.lines.use(tree).items())
        if not use:
            return None
        worth = 0
        sizes: set[tuple[int, int]] = set()
        for leaf in leaves(tree):
            sizes.add((leaf.dx, leaf.dy))
            if leaf.kind == "offcut":
                # Squared, so that one large offcut is worth more than two halves.
                worth += (leaf.dx * leaf.dy) ** 2
        area = sum(self.areas[kind] * n for kind, n in use)
        pattern = Pattern(stock.index, tree, use, area, worth, 4 * len(sizes) + count)
        old = self.pool.get((stock.index, use))
        if old is not None and (worth, -pattern.handling) <= (old.offcut_worth, -old.handling):
            return old
        walked = walk(
            self.job.machine,
            tree,
            stock.piece,
            self.parts,
            self.trim,
            self.job.longest,
            self.builder.known,
        )
        if isinstance(walked, str) or stages_of(tree) > self.stages:
            return old
        self.pool[stock.index, use] = pattern
        return pattern

    def build(
        self,
        stock: StockType,
        axis: Axis,
        values: Sequence[int],
        caps: Sequence[int],
        *,
        grain: Grain | None = None,
        lead: Length | None = None,
    ) -> Pattern | None:
        """One pattern for that stock, cut along `axis` first; `lead` as in :class:`Wish`."""
        wish = Wish(values, list(caps), grain or self.grain, lead, not stock.offcut)
        node = self.builder.fill(Region(stock.piece), axis, self.stages, wish)
        made = None if node is None else self._pattern(stock, node)
        if made is None and self.stages == 1:
            return self._in_strips(stock, axis, wish.values, caps, wish.grain)
        return made

    def _in_strips(
        self, stock: StockType, axis: Axis, values: Sequence[int], caps: Sequence[int], grain: Grain
    ) -> Pattern | None:
        """The best pattern of strips of one length, the ends of the sheet cut off for all of them."""
        wanted = [v for v in self.filler.variants if caps[v.kind] > 0]
        args = self.job.machine, stock.piece, axis, wanted, self.trim, self.job.options.offcut_min
        best: tuple[int, Pattern] | None = None
        for length in strip_lengths(*args)[:_LENGTHS]:

            def filled(region: Region) -> Node | None:
                return self.builder.fill(region, axis, 1, Wish(values, list(caps), grain))

            node = without_ends(self.builder, stock.piece, axis, length, filled)
            pattern = None if node is None else self._pattern(stock, node)
            if pattern is not None:
                worth = sum(values[kind] * n for kind, n in pattern.use)
                if best is None or worth > best[0]:
                    best = worth, pattern
        return None if best is None else best[1]

    def within(self, stock: StockType, axis: Axis, room: Length, caps: Sequence[int]) -> Pattern | None:
        """A pattern whose first level takes up so much of `axis` at most, the rest in one piece."""
        piece, extent = stock.piece, stock.piece.along(axis)
        less = extent._replace(size=room, far_mill=False) if room < extent.size else extent
        narrow = Piece(less, piece.y) if axis == "x" else Piece(piece.x, less)
        wish = Wish(self.areas, list(caps), self.grain)
        strips = self.filler.strips(narrow, axis, self.stages, wish)
        node = self.builder.carry_out(piece, axis, self.stages, strips, list(caps)) if strips else None
        return None if node is None else self._pattern(stock, node)

    def carve(
        self, stock: StockType, shape: Shape, values: Sequence[int], caps: Sequence[int]
    ) -> Pattern | None:
        """The pattern that a shape of the table makes of that stock, what is wanted no more left out."""
        wish = Wish(values, list(caps), self.grain)
        node = carve(self.builder, Region(stock.piece), shape, self.stages, wish)
        return None if node is None else self._pattern(stock, node)

    def without(self, pattern: Pattern, wanted: Mapping[int, int]) -> Pattern | None:
        """The pattern with no more parts of each kind than are `wanted`; None when nothing is left."""
        left = dict(wanted)

        def thinned(node: Node) -> Node:
            if isinstance(node, Split):
                children = [thinned(child) for child in node.children]
                if all(isinstance(c, Leaf) and c.kind in ("scrap", "offcut") for c in children):
                    return self.builder.scrap(node.x, node.y, node.dx, node.dy)
                return replace(node, children=tuple(children))
            if node.kind != "part" or node.ref is None:
                return node
            kind = self.lines.by_ref[node.ref]
            if left.get(kind, 0) > 0:
                left[kind] -= 1
                return node
            return self.builder.scrap(node.x, node.y, node.dx, node.dy)

        return self._pattern(self.types[pattern.stock], thinned(pattern.tree))

    def fallback(self, stock: StockType, caps: Sequence[int]) -> Pattern | None:
        """The single-part pattern of the largest kind still wanted."""
        for kind, cap in enumerate(caps):
            if cap > 0:
                pattern = self.single(kind, stock)
                if pattern is not None:
                    return pattern
        return None

    def active(self, left: Sequence[int], turn: int, stock: StockType) -> list[int]:
        """`left`, with kinds blanked out when there are too many to look at: the largest stay.

        Those that stay would fill the piece of stock several times over.
        """
        live = [kind for kind, n in enumerate(left) if n > 0]
        most = self.most_active
        if len(live) <= most:
            return list(left)
        head = most // 3
        others = live[head:]
        stride = max(len(others) // (most - head), 1)
        keep = set(live[:head]) | set(others[turn % stride :: stride][: most - head])
        if sum(self.areas[kind] * left[kind] for kind in keep) < 3 * stock.area:
            return list(left)
        return [n if kind in keep else 0 for kind, n in enumerate(left)]

    def better(self, a: Pattern, b: Pattern, values: Sequence[int]) -> bool:
        """Whether `a` gives more value for its cost; then the larger offcut, then less handling.

        Of two that are free, for the area that they take.
        """
        one, two = self.types[a.stock], self.types[b.stock]
        cost_a, cost_b = (one.cost, two.cost) if one.cost or two.cost else (one.area, two.area)
        worth_a = sum(values[kind] * n for kind, n in a.use) * cost_b
        worth_b = sum(values[kind] * n for kind, n in b.use) * cost_a
        return (worth_a, a.offcut_worth, -a.handling) > (worth_b, b.offcut_worth, -b.handling)

    def solution(self, rows: Sequence[tuple[Pattern, int]], left: Sequence[int]) -> Solution:
        """Ranked: what is left out, cost, sheets, area, pieces, offcuts worth, handling."""
        unplaced = sum(n * self.areas[kind] for kind, n in enumerate(left))
        cost = sum(self.types[p.stock].cost * n for p, n in rows)
        pieces = sum(n for _, n in rows)
        area = sum(self.types[p.stock].area * n for p, n in rows)
        fresh = sum(n for p, n in rows if not self.types[p.stock].offcut)
        worth = sum(p.offcut_worth * n for p, n in rows)
        handling = sum(p.handling for p, _ in rows)
        found = Solution(tuple(rows), tuple(left), (unplaced, cost, fresh, area, pieces, -worth, handling))
        if self._told is not None and (self._best is None or found.rank < self._best):
            self._best = found.rank
            paid = Fraction(cost, cost_scale(self.job.stock)) if in_money(self.job.stock) else None
            self._told(SoFar(fresh, pieces - fresh, paid, sum(left)))
        return found
