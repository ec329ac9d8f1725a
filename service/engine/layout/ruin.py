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
from typing import Final

from service.engine.layout.context import Context, Pattern, Solution
from service.engine.layout.passes import Sequence32
from service.engine.layout.quickly import Quickly
from service.engine.layout.slack import (
    PART,
    Path,
    Room,
    Tree,
    level,
    look,
    put,
    shape_of,
    take,
    variants_of,
)
from service.engine.plan import Leaf, Node

_MEMORY: Final = 200
"""Moves after which an area left outside is forgotten."""
_MOST_SHEETS: Final = 4
_MOST_NODES: Final = 3
_EMPTIED: Final = 3
"""One of so many sheets that a move takes apart is emptied; of the others some nodes are taken out."""
_ANY_LEVELS: Final = 12
"""Levels of cuts that no tree met here comes near."""
_TRIES: Final = 8
"""Rooms tried for one part by the rules of the machine."""
_PASSED_OVER: Final = 40
"""Of so many parts one does not go where it fits best."""
_STEPS_A_CHECK: Final = 40
_STEPS_A_MOVE: Final = 40
"""Steps that a move takes beside those for sheets changed and rooms looked at."""


class _Sheet:
    """A sheet in use: its tree (None: empty), the rooms in it, and the nodes that can be taken out."""

    __slots__ = ("paths", "rooms", "stock", "tree")

    def __init__(self, stock: int, tree: Tree | None, rooms: list[Room], paths: list[Path]) -> None:
        self.stock = stock
        self.tree = tree
        self.rooms = rooms
        self.paths = paths


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
        self.number = {(v.kind, v.rotated): i for i, v in enumerate(self.variants)}
        self.sides = [(self.quickly.side(t.piece.x), self.quickly.side(t.piece.y)) for t in context.types]
        wanted = [v for v in self.variants if context.demand[v.kind]]
        self.least = (min(v.dx for v in wanted), min(v.dy for v in wanted))
        self.mill = [t.piece.x.far_mill for t in context.types]
        self.strict = context.stages < _ANY_LEVELS
        self.carved: dict[tuple[int, Tree], Pattern | None] = {}

    def fewer(self, best: Solution, moves: int, target: int) -> Solution:
        """The plan with as many sheets given up as go in so many moves; `target` is a cost that ends it."""
        numbers = Sequence32(len(best.rows) + 1)
        ceiling = self.context.steps + (self.context.budget - self.context.steps) * 3 // 5
        while best.rank[0] == 0 and best.rank[1] > target and moves > 0:
            sheets = self._sheets(best)
            waiting = self._given_up(sheets, best.rank[1] - target)
            if waiting is None:
                break
            found, taken = self._search(sheets, waiting, moves, ceiling, numbers)
            moves -= taken
            if found is None or found.rank >= best.rank:
                break
            best = found
        return best

    def _sheets(self, solution: Solution) -> list[_Sheet]:
        found: list[_Sheet] = []
        for pattern, repeat in solution.rows:
            tree = self._tree(pattern.tree)
            found.extend(self._sheet(pattern.stock, tree) for _ in range(repeat))
            if tree is not None:
                self.carved[pattern.stock, tree] = pattern
        return found

    def _given_up(self, sheets: list[_Sheet], most: int) -> list[int] | None:
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

    def _kinds(self, sheet: _Sheet) -> list[int]:
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

    def _sheet(self, stock: int, tree: Tree | None) -> _Sheet:
        width, height = self.sides[stock]
        if tree is None:
            return _Sheet(stock, None, [(width, height, (), 0, -1)], [])
        rooms, paths = look(tree, width, height, self.least, self.context.stages)
        self.context.other_steps += 6 + len(paths)
        return _Sheet(stock, tree, rooms, paths)

    def _search(
        self, sheets: list[_Sheet], waiting: list[int], moves: int, ceiling: int, numbers: Sequence32
    ) -> tuple[Solution | None, int]:
        """All parts in these sheets, None when that was not found; and the moves it took."""
        areas = self.context.areas
        waiting, changed = self._recreated(sheets, waiting, numbers)
        waiting += self._repaired(sheets, changed)
        outside = sum(areas[kind] for kind in waiting)
        memory = [outside] * _MEMORY
        best = outside
        for move in range(moves):
            if outside == 0:
                return self._done(sheets), move
            if self.context.steps >= ceiling:
                return None, move
            self.context.other_steps += _STEPS_A_MOVE
            before = list(sheets)
            changed, out = self._ruined(sheets, numbers)
            left, more = self._recreated(sheets, [*waiting, *out], numbers)
            changed |= more
            now = sum(areas[kind] for kind in left)
            if now < best:
                left += self._repaired(sheets, changed)
                now = sum(areas[kind] for kind in left)
            slot = move % _MEMORY
            if now <= memory[slot] or now <= outside:
                outside, waiting = now, left
                best = min(best, now)
            else:
                sheets[:] = before
            memory[slot] = outside
        return None, moves

    def _ruined(self, sheets: list[_Sheet], numbers: Sequence32) -> tuple[set[int], list[int]]:
        """Sheets emptied, or nodes taken out of them; the sheets changed, and the kinds now outside."""
        changed: set[int] = set()
        out: list[int] = []
        for _ in range(1 + numbers.below(_MOST_SHEETS)):
            place = numbers.below(len(sheets))
            changed.add(place)
            taken = 0 if numbers.below(_EMPTIED) == 0 else 1 + numbers.below(_MOST_NODES)
            sheets[place], gone = self._without(sheets[place], taken, numbers)
            out.extend(gone)
        return changed, out

    def _without(self, sheet: _Sheet, nodes: int, numbers: Sequence32) -> tuple[_Sheet, list[int]]:
        """A sheet with so many nodes taken out, all of it with 0; and the kinds of the parts in them."""
        gone: list[int] = []
        for _ in range(nodes):
            if sheet.tree is None or not sheet.paths:
                break
            tree, taken = take(sheet.tree, sheet.paths[numbers.below(len(sheet.paths))])
            gone.extend(self.kind_of[i] for i in variants_of(taken))
            sheet = self._sheet(sheet.stock, tree)
        else:
            if nodes:
                return sheet, gone
        return self._sheet(sheet.stock, None), gone + self._kinds(sheet)

    def _recreated(
        self, sheets: list[_Sheet], waiting: Sequence[int], numbers: Sequence32
    ) -> tuple[list[int], set[int]]:
        """Parts put into the rooms that fit best, large ones first about; what finds none, and the sheets."""
        areas = self.context.areas
        loose = numbers.below(4) * 64
        order = sorted(waiting, key=lambda kind: -areas[kind] * (256 + numbers.below(loose + 1)))
        left: list[int] = []
        changed: set[int] = set()
        for kind in order:
            rooms = self._rooms(kind, sheets)
            # Now and then the best room is passed over, so that the same parts do not fall into it again.
            skipped = int(len(rooms) > 1 and numbers.below(_PASSED_OVER) == 0)
            if self.strict or skipped:
                rooms.sort()
                rooms = rooms[skipped : skipped + _TRIES]
            elif rooms:
                rooms = [min(rooms)]
            for _, _, place, way, at in rooms:
                sheet, leaf = sheets[place], self.ways[kind][way]
                tree = leaf if sheet.tree is None else put(sheet.tree, sheet.rooms[at], leaf)
                if not self.strict or self._may_be_cut(sheet.stock, tree):
                    sheets[place] = self._sheet(sheet.stock, tree)
                    changed.add(place)
                    break
            else:
                left.append(kind)
        return left, changed

    def _rooms(self, kind: int, sheets: Sequence[_Sheet]) -> list[tuple[int, int, int, int, int]]:
        """Where a part fits: (less spare, more spare, place of the sheet, way it lies, room)."""
        found: list[tuple[int, int, int, int, int]] = []
        looked = sum([len(sheet.rooms) for sheet in sheets]) * len(self.ways[kind])
        self.context.other_steps += (looked + len(sheets)) // 12
        for way, leaf in enumerate(self.ways[kind]):
            dx, dy = leaf[0], leaf[1]
            for place, sheet in enumerate(sheets):
                for at, room in enumerate(sheet.rooms):
                    spare_x, spare_y = room[0] - dx, room[1] - dy
                    if spare_x >= 0 and spare_y >= 0:
                        fit = (spare_x, spare_y) if spare_x < spare_y else (spare_y, spare_x)
                        found.append((*fit, place, way, at))
        return found

    def _may_be_cut(self, stock: int, tree: Tree) -> bool:
        self.context.other_steps += _STEPS_A_CHECK
        return self.quickly.levels(tree, *self.sides[stock], self.mill[stock]) <= self.context.stages

    def _pattern(self, sheet: _Sheet) -> Pattern | None:
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

    def _repaired(self, sheets: list[_Sheet], changed: set[int]) -> list[int]:
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

    def _done(self, sheets: Sequence[_Sheet]) -> Solution:
        """The sheets as a plan in which nothing is left out; each was carried out before."""
        rows: dict[tuple[int, tuple[tuple[int, int], ...]], tuple[Pattern, int]] = {}
        for sheet in sheets:
            pattern = self._pattern(sheet)
            if pattern is not None:
                key = (pattern.stock, pattern.use)
                rows[key] = (pattern, rows.get(key, (pattern, 0))[1] + 1)
        return self.context.solution(list(rows.values()), [0] * len(self.context.demand))
