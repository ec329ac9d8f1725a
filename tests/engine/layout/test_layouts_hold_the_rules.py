"""Every layout found can be cut, nothing overlaps, nothing is made twice, nothing is lost.

The tree is checked from the ground up here; only whether a cut can be gauged and held is asked of the
rules of a cut.
"""

from __future__ import annotations

from collections import Counter

from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.layout import rules
from service.engine.layout.job import Found, Job
from service.engine.layout.search import find_layouts
from service.engine.layout.walk import walk
from service.engine.order import Options, Part, StockItem
from service.engine.plan import Leaf, Node
from service.engine.tolerance import aimed_size
from tests.strategies import lengths, machines, tolerances

CODES = {
    "no-stock-of-material",
    "larger-than-stock",
    "over-cutting-length",
    "over-force",
    "no-gauging",
    "too-many-stages",
    "stock-exhausted",
}


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """One material and thickness, on any machine."""
    machine = draw(machines())
    parts = tuple(
        Part(
            ref=f"P{i}",
            length=draw(lengths(20, 1600)),
            width=draw(lengths(20, 700)),
            quantity=draw(st.sampled_from((1, 1, 2, 3, 8, 40))),
            material="S235JR",
            thickness=200,
            grain=draw(st.sampled_from(("any", "any", "along", "across"))),
            tolerance=draw(tolerances()),
        )
        for i in range(draw(st.integers(1, 7)))
    )
    priced = draw(st.booleans())
    stock = tuple(
        StockItem(
            ref=f"S{i}",
            length=draw(lengths(300, 2600)),
            width=draw(lengths(300, 1300)),
            quantity=draw(st.sampled_from((1, 2, 5, 60))),
            material="S235JR",
            thickness=200,
            kind=draw(st.sampled_from(("sheet", "sheet", "offcut"))),
            edges=draw(st.sampled_from(("mill", "cut"))),
            oversize=draw(st.sampled_from((0, 100, 2000))),
            price=draw(st.sampled_from((12.5, 30.0, 99.99))) if priced else None,
        )
        for i in range(draw(st.integers(0, 4)))
    )
    options = Options(
        effort="quick",
        max_stages=draw(st.integers(1, 6)),
        trim=draw(st.sampled_from((0, 500, 1000))),
        offcut_min=draw(st.sampled_from(((30_000, 20_000), (10_000, 40_000)))),
    )
    longest = min(machine.cutting_length, draw(st.sampled_from((90_000, 10**9))))
    return Job(machine, parts, stock, options, longest)


def gathered(job: Job, found: Found) -> Counter[str]:
    """Parts made, after checking each tree by itself."""
    parts = {part.ref: part for part in job.parts}
    made: Counter[str] = Counter()

    def look(node: Node, repeat: int, depth: int) -> int:
        assert node.dx > 0
        assert node.dy > 0
        if isinstance(node, Leaf):
            if node.kind == "part":
                part = parts[str(node.ref)]
                length, width = aimed_size(part)
                sides = (width, length) if node.rotated else (length, width)
                assert (node.dx, node.dy) == sides
                assert not (part.grain == "along" and node.rotated)
                assert not (part.grain == "across" and not node.rotated)
                made[part.ref] += repeat
            else:
                assert node.ref is None
                large = max(node.dx, node.dy) >= max(job.options.offcut_min)
                large = large and min(node.dx, node.dy) >= min(job.options.offcut_min)
                assert node.kind == "trim" or (node.kind == "offcut") == large
            return node.dx * node.dy
        assert depth < job.options.max_stages
        assert len(node.children) > 1
        at = node.x if node.axis == "x" else node.y
        area = 0
        for child in node.children:
            if node.axis == "x":
                assert (child.x, child.y, child.dy) == (at, node.y, node.dy)
                at += child.dx
            else:
                assert (child.x, child.y, child.dx) == (node.x, at, node.dx)
                at += child.dy
            # Taking the ends off takes no part in the directions of cutting: trims, and of a whole sheet what
            # is left over behind the strips.
            others = [one.kind for one in node.children if one is not child and isinstance(one, Leaf)]
            ends = others == ["trim"] * (len(node.children) - 1)
            ends = ends or (node in whole and others == ["trim", "scrap"] and child is node.children[1])
            area += look(child, repeat, depth + (isinstance(child, Leaf) or not ends))
        assert at == (node.x + node.dx if node.axis == "x" else node.y + node.dy)
        assert area == node.dx * node.dy
        return area

    whole = [division.tree for division in found.divisions]
    for division in found.divisions:
        look(division.tree, division.repeat, 0)
    return made


@settings(max_examples=150)
@given(jobs())
def test_layouts_are_cuttable_and_the_demand_is_met_exactly_or_explained(job: Job) -> None:
    found = find_layouts(job)
    stock = {item.ref: item for item in job.stock}
    parts = {part.ref: part for part in job.parts}

    made = gathered(job, found)
    missing = Counter({u.ref: u.quantity for u in found.unplaced})
    assert all(made[part.ref] + missing[part.ref] == part.quantity for part in job.parts)
    assert all(u.quantity > 0 and u.reason and u.code in CODES for u in found.unplaced)

    used: Counter[str] = Counter()
    for division in found.divisions:
        item = stock[division.stock_ref]
        used[item.ref] += division.repeat
        tree = division.tree
        assert (tree.x, tree.y, tree.dx, tree.dy) == (0, 0, item.length, item.width)
        piece = rules.stock_piece(item, job.options.trim)
        walked = walk(job.machine, tree, piece, parts, job.options.trim, job.longest)
        assert not isinstance(walked, str), walked
    assert all(count <= stock[ref].quantity for ref, count in used.items())

    assert found.bound.gap_pieces >= 0
    assert found.bound.gap_share >= 0
    trees = [(d.stock_ref, d.tree) for d in found.divisions]
    assert all(trees.count(tree) == 1 for tree in trees)


@settings(max_examples=25)
@given(jobs(), st.randoms(use_true_random=False))
def test_the_order_of_the_parts_does_not_change_what_is_used(job: Job, shuffle: object) -> None:
    parts = list(job.parts)
    shuffle.shuffle(parts)  # type: ignore[attr-defined]
    other = find_layouts(Job(job.machine, tuple(parts), job.stock, job.options, job.longest))
    found = find_layouts(job)

    def used(answer: Found) -> Counter[str]:
        return sum((Counter({d.stock_ref: d.repeat}) for d in answer.divisions), Counter())

    assert found.bound == other.bound
    assert used(found) == used(other)
    assert Counter(u.code for u in found.unplaced) == Counter(u.code for u in other.unplaced)
