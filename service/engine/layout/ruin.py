"""One sheet fewer: parts are taken out of sheets and put back in otherwise until all find room.

Given up is the sheet that costs most for what it holds; its parts wait outside. In each move a few
nodes of a few sheets are taken out, and all parts outside are put into the rooms that fit best. The
area left outside may rise for a while: a move counts when it is no worse than what stood a number of
moves before (late acceptance; E. K. Burke and Y. Bykov, European Journal of Operational Research
258, 2017). When nothing is left outside, the next sheet is given up.

The trees are those of :mod:`.slack`, which know sizes only: each sheet is carried out by the rules
of the machine before it counts, and from the first one refused on every move is tried so at once.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from service.engine.layout.context import Context, Pattern, Solution
from service.engine.layout.grid import Shape
from service.engine.layout.kinds import Variant
from service.engine.layout.passes import Sequence32
from service.engine.layout.pool import Content, Pool
from service.engine.layout.quickly import Quickly
from service.engine.layout.scarce import Scarce
from service.engine.layout.sheet import NOWHERE, Fit, Reach, Sheet
from service.engine.layout.slack import (
    PART,
    Tree,
    level,
    put,
    shape_of,
    take,
    variants_of,
    without,
)
from service.engine.order import Effort
from service.engine.plan import Leaf, Node

_MEMORY: Final = 40
"""Moves after which an area left outside is forgotten."""
_MOST_SHEETS: Final = 4
_MOST_NODES: Final = 3
_EMPTIED: Final = 3
"""One of so many sheets that a move takes apart is emptied; of the others some nodes are taken out."""
_EMPTIER: Final = 2
"""Once in so many, of two sheets the one with more free area is taken apart."""
_ANY_LEVELS: Final = 12
"""Levels of cuts that no tree met here comes near."""
_TRIES: Final = 8
"""Rooms tried for one part by the rules of the machine."""
_PASSED_OVER: Final = 40
"""Of so many parts one does not go where it fits best."""
_LEAST_EFFORT: Final[dict[Effort, int]] = {"quick": 0, "standard": 4_000_000, "thorough": 20_000_000}
"""Steps that there are in any case: a move takes fewer of them in a small order, but as many are needed."""
_FIRST_MOVES: Final = 1000
"""Moves before the first choice among the sheets met and before the second; then half as many again before
each."""
_STEPS_A_CHECK: Final = 40
_STEPS_A_SHEET: Final = 6
_STEPS_A_ROOM: Final = 2
_STEPS_A_MOVE: Final = 30
"""Steps that a move takes beside those for sheets changed and rooms looked at."""


@dataclass(slots=True)
class _Stand:
    """Sheets in use and the parts outside them, with the areas outside of the last moves."""

    sheets: list[Sheet]
    waiting: list[int]
    outside: int = 0
    best: int = 0
    moves: int = 0
    memory: list[int] = field(default_factory=list)


class Ruin:
    """Takes sheets out of plans of one context."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self.quickly = Quickly(context)
        self.variants = context.filler.variants
        self.leaves: list[Tree] = [(v.dx, v.dy, PART, i) for i, v in enumerate(self.variants)]
        self.kind_of = [v.kind for v in self.variants]
        self.ways: list[list[Tree]] = [[] for _ in context.all_kinds]
        for leaf, v in zip(self.leaves, self.variants, strict=True):
            self.ways[v.kind].append(leaf)
        self.reach = Reach(self.variants)
        self.bits = [sum(1 << leaf[3] for leaf in ways) for ways in self.ways]
        self.number = {(v.kind, v.rotated): i for i, v in enumerate(self.variants)}
        self.sides = [(self.quickly.side(t.piece.x), self.quickly.side(t.piece.y)) for t in context.types]
        wanted = [v for v in self.variants if context.demand[v.kind]]
        self.least = (min(v.dx for v in wanted), min(v.dy for v in wanted))
        self.mill = [t.piece.x.far_mill for t in context.types]
        self.strict = context.stages < _ANY_LEVELS
        self.scarce = Scarce(context, self._tree_of)
        self.carved: dict[tuple[int, Tree], Pattern | None] = {}

    def fewer(self, best: Solution, moves: int, target: int, *, choose: bool = True) -> Solution:
        """The plan with as many sheets given up as go in so many moves; `target` is a cost that ends it.

        Without `choose` there is no choice among the sheets met: the plan may then be of a part of what
        is wanted, and many pieces take no longer.
        """
        numbers = Sequence32(len(best.rows) + 1)
        begun = self.context.steps
        share = (self.context.budget - begun) * 3 // 5
        ceiling = begun + max(share, _LEAST_EFFORT[self.context.job.options.effort])
        pool = Pool(self.context) if choose else None
        while best.rank[0] == 0 and best.rank[1] > target and moves > 0:
            sheets = self._sheets(best)
            for sheet in sheets:
                self._keep(pool, sheet)
            waiting = self._given_up(sheets, best.rank[1] - target)
            if waiting is None:
                break
            found, taken = self._search(_Stand(sheets, waiting), moves, ceiling, numbers, pool, best)
            moves -= taken
            if found is None or found.rank >= best.rank:
                break
            best = found
        if not self.context.stopped:
            # What small orders take beyond their share is not taken from what follows.
            self.context.budget += max(self.context.steps - begun - share, 0)
        return best

    def _search(
        self,
        stand: _Stand,
        moves: int,
        ceiling: int,
        numbers: Sequence32,
        pool: Pool | None,
        best: Solution,
    ) -> tuple[Solution | None, int]:
        """A plan that is better than the best, None when none was found; and the moves it took."""
        self._begin(stand, numbers)
        taken, portion = 0, _FIRST_MOVES
        while True:
            before = stand.best
            taken += self._move(stand, min(portion, moves - taken), ceiling, numbers, pool)
            if stand.outside == 0:
                return self._done(stand.sheets), taken
            chosen = None if pool is None else pool.choice(best.rank[1])
            if pool is not None and chosen is not None:
                other = self._stand_of(pool, chosen, numbers, len(stand.sheets))
                if other.outside == 0:
                    return self._done(other.sheets), taken
                if other.outside < stand.outside or (stand.best == before and portion > _FIRST_MOVES):
                    stand = other
            elif (
                pool is not None
                and pool.too_few(best.rank[1])
                and self.scarce.prove(pool, sum(n for _, n in best.rows))
            ):
                return None, taken
            if taken >= moves or self.context.reached(ceiling):
                return None, taken
            portion = max(taken // 2, _FIRST_MOVES)

    def _stand_of(self, pool: Pool, chosen: Sequence[Content], numbers: Sequence32, count: int) -> _Stand:
        """The sheets of a choice as far as the machine can cut them, no part more often than it is wanted.

        Where all stock is of one size, they are made up to so many.
        """
        sheets = [self._sheet(content[0], pool.trees[content]) for content in chosen]
        for content, sheet in zip(chosen, list(sheets), strict=True):
            if self._repaired([sheet], set()):
                pool.refused.add(content)
        left = list(self.context.demand)
        for place, sheet in enumerate(sheets):
            tree = sheet.tree
            for kind in self._kinds(sheet):
                if left[kind]:
                    left[kind] -= 1
                elif tree is not None:
                    tree = without(tree, [leaf[3] for leaf in self.ways[kind]])
            sheets[place] = self._sheet(sheet.stock, tree)
        if len(self.context.types) == 1:
            sheets.extend(self._sheet(0, None) for _ in range(count - len(sheets)))
        stand = _Stand(sheets, [kind for kind, n in enumerate(left) for _ in range(n)])
        self._begin(stand, numbers)
        return stand

    def _keep(self, pool: Pool | None, sheet: Sheet) -> None:
        if pool is not None and sheet.tree is not None:
            pool.add((sheet.stock, tuple(sorted(self._kinds(sheet)))), sheet.tree)

    def _sheets(self, solution: Solution) -> list[Sheet]:
        found: list[Sheet] = []
        for pattern, repeat in solution.rows:
            tree = self._tree(pattern.tree)
            found.extend(self._sheet(pattern.stock, tree) for _ in range(repeat))
            if tree is not None:
                self.carved[pattern.stock, tree] = pattern
        return found

    def _given_up(self, sheets: list[Sheet], most: int) -> list[int] | None:
        """Give up one sheet, or take a cheaper one for it; the parts that wait, None when nothing can go.

        The saving is at most `most`, and what is left has the area for all parts. Of the choices, the
        one that leaves most area, then the sheet that holds least.
        """
        types, areas = self.context.types, self.context.areas
        held = [self._kinds(sheet) for sheet in sheets]
        holds = [sum(areas[kind] for kind in kinds) for kinds in held]
        room = [width * height for width, height in self.sides]
        spare = sum(room[sheet.stock] for sheet in sheets) - sum(holds)
        used = Counter(sheet.stock for sheet in sheets)
        ranked: list[tuple[int, int, int, int]] = []
        for place, sheet in enumerate(sheets):
            gone = types[sheet.stock]
            for new in (None, *types):
                saved = gone.cost - (new.cost if new else 0)
                if not 0 < saved <= most or (new is not None and used[new.index] >= new.quantity):
                    continue
                left = spare - room[sheet.stock] + (room[new.index] if new else 0)
                if left >= 0:
                    ranked.append((-left, holds[place], place, -1 if new is None else new.index))
        if not ranked:
            return None
        _, _, place, index = min(ranked)
        sheets.pop(place)
        if index >= 0:
            sheets.append(self._sheet(index, None))
        return held[place]

    def _kinds(self, sheet: Sheet) -> list[int]:
        return [] if sheet.tree is None else [self.kind_of[i] for i in variants_of(sheet.tree)]

    def _tree(self, node: Node) -> Tree | None:
        """A layout tree without its waste."""
        if isinstance(node, Leaf):
            if node.kind != "part" or node.ref is None:
                return None
            kind = self.context.all_kinds[self.context.lines.by_ref[node.ref]]
            return self.leaves[self.number[kind.index, node.rotated != kind.swapped]]
        children = [tree for child in node.children if (tree := self._tree(child)) is not None]
        return level(0 if node.axis == "x" else 1, children) if children else None

    def _tree_of(self, shape: Shape) -> Tree:
        """A layout of the exact search as a tree."""
        if isinstance(shape, Variant):
            return self.leaves[self.number[shape.kind, shape.rotated]]
        return level(0 if shape.axis == "x" else 1, [self._tree_of(child) for child in shape.children])

    def _sheet(self, stock: int, tree: Tree | None) -> Sheet:
        self.context.other_steps += _STEPS_A_SHEET
        return Sheet(stock, tree, self.sides[stock], self.least, self.context.stages)

    def _begin(self, stand: _Stand, numbers: Sequence32) -> None:
        """Put what waits into the rooms there are; from then on the moves count."""
        stand.waiting, changed = self._recreated(stand.sheets, stand.waiting, numbers)
        stand.waiting += self._repaired(stand.sheets, changed | set(range(len(stand.sheets))))
        stand.outside = stand.best = self._area(stand.waiting)
        stand.memory = [stand.outside] * _MEMORY

    def _move(self, stand: _Stand, moves: int, ceiling: int, numbers: Sequence32, pool: Pool | None) -> int:
        """So many moves, fewer when nothing is left outside or the effort is spent; returns how many."""
        for move in range(moves):
            if stand.outside == 0 or self.context.reached(ceiling):
                return move
            self.context.other_steps += _STEPS_A_MOVE
            before = list(stand.sheets)
            changed, out = self._ruined(stand.sheets, numbers)
            left, more = self._recreated(stand.sheets, [*stand.waiting, *out], numbers)
            changed |= more
            now = self._area(left)
            if now < stand.best:
                left += self._repaired(stand.sheets, changed)
                now = self._area(left)
            for place in sorted(changed):
                self._keep(pool, stand.sheets[place])
            slot = stand.moves % _MEMORY
            if now <= stand.memory[slot] or now <= stand.outside:
                stand.outside, stand.waiting = now, left
                stand.best = min(stand.best, now)
            else:
                stand.sheets[:] = before
            stand.memory[slot] = stand.outside
            stand.moves += 1
        return moves

    def _free(self, sheet: Sheet) -> int:
        if sheet.free < 0:
            width, height = self.sides[sheet.stock]
            sheet.free = max(width * height - self._area(self._kinds(sheet)), 0)
        return sheet.free

    def _area(self, kinds: Sequence[int]) -> int:
        return sum([self.context.areas[kind] for kind in kinds])

    def _ruined(self, sheets: list[Sheet], numbers: Sequence32) -> tuple[set[int], list[int]]:
        """Sheets emptied, or nodes taken out of them; the sheets changed, and the kinds now outside."""
        changed: set[int] = set()
        out: list[int] = []
        for _ in range(1 + numbers.below(_MOST_SHEETS)):
            place = numbers.below(len(sheets))
            if numbers.below(_EMPTIER) == 0:
                # Of two, the one with more free area.
                place = max(place, numbers.below(len(sheets)), key=lambda at: self._free(sheets[at]))
            changed.add(place)
            taken = 0 if numbers.below(_EMPTIED) == 0 else 1 + numbers.below(_MOST_NODES)
            sheets[place], gone = self._without(sheets[place], taken, numbers)
            out.extend(gone)
        return changed, out

    def _without(self, sheet: Sheet, nodes: int, numbers: Sequence32) -> tuple[Sheet, list[int]]:
        """A sheet with so many nodes taken out, all of it with 0; and the kinds of the parts in them."""
        gone: list[int] = []
        for _ in range(nodes):
            paths = sheet.paths()
            if sheet.tree is None or not paths:
                break
            tree, taken = take(sheet.tree, paths[numbers.below(len(paths))])
            gone.extend(self.kind_of[i] for i in variants_of(taken))
            sheet = self._sheet(sheet.stock, tree)
        else:
            if nodes:
                return sheet, gone
        return self._sheet(sheet.stock, None), gone + self._kinds(sheet)

    def _recreated(
        self, sheets: list[Sheet], waiting: Sequence[int], numbers: Sequence32
    ) -> tuple[list[int], set[int]]:
        """Parts put into the rooms that fit best, large ones first about; what finds none, and the sheets."""
        areas = self.context.areas
        loose = numbers.below(4) * 64 + 1
        order = sorted(waiting, key=lambda kind: -areas[kind] * (256 + numbers.below(loose)))
        holds = [self._holds(sheet) for sheet in sheets]
        left: list[int] = []
        changed: set[int] = set()
        for kind in order:
            bits = self.bits[kind]
            open_to = [place for place, held in enumerate(holds) if held & bits]
            for place, (_, _, variant, at) in self._places(kind, sheets, open_to, numbers):
                sheet, leaf = sheets[place], self.leaves[variant]
                tree = leaf if sheet.tree is None else put(sheet.tree, sheet.rooms()[at], leaf)
                if not self.strict or self._may_be_cut(sheet.stock, tree):
                    sheets[place] = self._sheet(sheet.stock, tree)
                    holds[place] = self._holds(sheets[place])
                    changed.add(place)
                    break
            else:
                left.append(kind)
        return left, changed

    def _holds(self, sheet: Sheet) -> int:
        if sheet.held < 0:
            sheet.hold(self.reach)
            self.context.other_steps += _STEPS_A_ROOM * len(sheet.rooms())
        return sheet.held

    def _places(
        self, kind: int, sheets: Sequence[Sheet], open_to: Sequence[int], numbers: Sequence32
    ) -> list[tuple[int, Fit]]:
        """Where a part goes, the best place first: one where all that fits may be cut, else several.

        `open_to` are the sheets that have room for it.
        """
        self.context.other_steps += 2 + len(open_to)
        if not open_to:
            return []
        ways = self.ways[kind]
        if self.strict:
            found = sorted((fit, place) for place in open_to for fit in sheets[place].all_fits(ways))
            skipped = self._passed_over(len(found), numbers)
            return [(place, fit) for fit, place in found[skipped : skipped + _TRIES]]
        first = second = (NOWHERE, -1)
        for place in open_to:
            sheet = sheets[place]
            fit = sheet.fits.get(kind) or sheet.fit(kind, ways)
            if fit < first[0]:
                first, second = (fit, place), first
            elif fit < second[0]:
                second = (fit, place)
        fit, place = second if self._passed_over(len(open_to), numbers) else first
        return [(place, fit)]

    def _passed_over(self, count: int, numbers: Sequence32) -> int:
        """Now and then 1: the best place is left, so that the same parts do not fall into it again."""
        return int(count > 1 and numbers.below(_PASSED_OVER) == 0)

    def _may_be_cut(self, stock: int, tree: Tree) -> bool:
        self.context.other_steps += _STEPS_A_CHECK
        return self.quickly.levels(tree, *self.sides[stock], self.mill[stock]) <= self.context.stages

    def _pattern(self, sheet: Sheet) -> Pattern | None:
        """The sheet as the machine can cut it, perhaps with fewer parts; None when it can cut none."""
        if sheet.tree is None:
            return None
        key = (sheet.stock, sheet.tree)
        if key not in self.carved:
            caps = [0] * len(self.context.demand)
            for i in variants_of(sheet.tree):
                caps[self.kind_of[i]] += 1
            shape = shape_of(sheet.tree, self.variants)
            self.carved[key] = self.context.carve(
                self.context.types[sheet.stock], shape, self.context.areas, caps
            )
        return self.carved[key]

    def _repaired(self, sheets: list[Sheet], changed: set[int]) -> list[int]:
        """Sheets as the machine can cut them; the parts that had to go."""
        out: list[int] = []
        for place, sheet in enumerate(sheets):
            if sheet.tree is None:
                continue
            pattern = self._pattern(sheet)
            held = Counter(self.kind_of[i] for i in variants_of(sheet.tree))
            made = dict(pattern.use) if pattern is not None else {}
            if made == held:
                continue
            self.strict = True
            changed.add(place)
            tree = None if pattern is None else self._tree(pattern.tree)
            if pattern is not None and tree is not None:
                self.carved[sheet.stock, tree] = pattern
            sheets[place] = self._sheet(sheet.stock, tree)
            out.extend((held - Counter(made)).elements())
        return out

    def _done(self, sheets: Sequence[Sheet]) -> Solution:
        """The sheets as a plan in which nothing is left out; each was carried out before."""
        rows: dict[tuple[int, tuple[tuple[int, int], ...]], tuple[Pattern, int]] = {}
        for sheet in sheets:
            pattern = self._pattern(sheet)
            if pattern is not None:
                key = (pattern.stock, pattern.use)
                rows[key] = (pattern, rows.get(key, (pattern, 0))[1] + 1)
        return self.context.solution(list(rows.values()), [0] * len(self.context.demand))
