"""From kinds back to the lines of the order: which line each part of a layout belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.engine.layout.job import Division
from service.engine.layout.kinds import Kind
from service.engine.plan import Leaf, Node, Split, leaves


@dataclass(slots=True)
class Line:
    """What is still to be served of one line of the order."""

    ref: str
    left: int
    swapped: bool


class Lines:
    """Lines of the order still to be served, kind by kind, in the order they were given."""

    def __init__(self, kinds: Sequence[Kind]) -> None:
        self.kinds = kinds
        self.by_ref = {ref: kind.index for kind in kinds for ref, _, _ in kind.wanted}
        self.left = [[Line(*line) for line in kind.wanted] for kind in kinds]

    def use(self, tree: Node) -> dict[int, int]:
        """How many of each kind a tree holds, by rising kind."""
        counts: dict[int, int] = {}
        for leaf in leaves(tree):
            if leaf.kind == "part" and leaf.ref is not None:
                kind = self.by_ref[leaf.ref]
                counts[kind] = counts.get(kind, 0) + 1
        return dict(sorted(counts.items()))

    def serve(self, tree: Node, repeat: int) -> list[tuple[Node, int]]:
        """The tree with the references of the lines, split where a line is served in between."""
        need = self.use(tree)
        served: list[tuple[Node, int]] = []
        while repeat > 0:
            block = repeat
            for kind, count in need.items():
                first = self._first(kind)
                block = min(block, max(self.left[kind][first].left // count, 1))
            pools: dict[int, list[tuple[str, bool]]] = {}
            for kind, count in need.items():
                pool: list[tuple[str, bool]] = []
                for line in self.left[kind]:
                    take = min(line.left // block, count - len(pool))
                    pool.extend([(line.ref, line.swapped)] * take)
                    line.left -= take * block
                    if len(pool) == count:
                        break
                pools[kind] = pool
            served.append((self._named(tree, pools), block))
            repeat -= block
        return served

    def _first(self, kind: int) -> int:
        return next(i for i, line in enumerate(self.left[kind]) if line.left > 0)

    def _named(self, node: Node, pools: dict[int, list[tuple[str, bool]]]) -> Node:
        if isinstance(node, Split):
            return replace(node, children=tuple(self._named(child, pools) for child in node.children))
        if node.kind != "part" or node.ref is None:
            return node
        kind = self.kinds[self.by_ref[node.ref]]
        ref, swapped = pools[kind.index].pop(0)
        return Leaf("part", node.x, node.y, node.dx, node.dy, ref, node.rotated != (swapped != kind.swapped))


def merged(divisions: Sequence[Division]) -> tuple[Division, ...]:
    """Equal layouts of one stock item as one, in the order of their first appearance."""
    places: dict[tuple[str, Node], int] = {}
    found: list[Division] = []
    for division in divisions:
        key = (division.stock_ref, division.tree)
        if key in places:
            old = found[places[key]]
            found[places[key]] = replace(old, repeat=old.repeat + division.repeat)
        else:
            places[key] = len(found)
            found.append(division)
    return tuple(found)
