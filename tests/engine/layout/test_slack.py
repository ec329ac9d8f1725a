"""Trees of sizes and the rooms in them, checked by laying the parts out."""

from __future__ import annotations

from collections.abc import Iterator

from hypothesis import given
from hypothesis import strategies as st

from service.engine.layout.slack import PART, Tree, paths_of, put, rooms_of, take, variants_of, without

WIDTH, HEIGHT = 40, 30
LEAST = (1, 1)

Box = tuple[int, int, int, int]


def laid_out(tree: Tree, x: int = 0, y: int = 0) -> Iterator[Box]:
    """The parts as they lie: near corner and far corner."""
    dx, dy, axis, content = tree
    if axis == PART:
        yield x, y, x + dx, y + dy
        return
    for child in content:
        yield from laid_out(child, x, y)
        x, y = (x + child[0], y) if axis == 0 else (x, y + child[1])


def extent(tree: Tree) -> tuple[int, int]:
    boxes = list(laid_out(tree))
    return max(b[2] for b in boxes), max(b[3] for b in boxes)


@st.composite
def trees(draw: st.DrawFn) -> Tree:
    """A sheet filled part by part, each put into a room that holds it."""
    tree: Tree = (draw(st.integers(1, 20)), draw(st.integers(1, 20)), PART, 0)
    for number in range(1, draw(st.integers(1, 9))):
        rooms = rooms_of(tree, WIDTH, HEIGHT, LEAST, 9)
        if not rooms:
            break
        room = draw(st.sampled_from(rooms))
        size = draw(st.integers(1, room[0])), draw(st.integers(1, room[1]))
        tree = put(tree, room, (*size, PART, number))
    return tree


@given(trees())
def test_what_was_put_in_lies_in_the_sheet_side_by_side(tree: Tree) -> None:
    boxes = list(laid_out(tree))
    assert sorted(variants_of(tree)) == list(range(len(boxes)))
    assert extent(tree) == tree[:2]
    assert tree[0] <= WIDTH
    assert tree[1] <= HEIGHT
    for i, a in enumerate(boxes):
        for b in boxes[:i]:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


@given(trees())
def test_a_room_is_as_large_as_can_be(tree: Tree) -> None:
    for room in rooms_of(tree, WIDTH, HEIGHT, LEAST, 9):
        wide, deep = extent(put(tree, room, (room[0], room[1], PART, 99)))
        assert wide <= WIDTH
        assert deep <= HEIGHT
        for more in ((1, 0), (0, 1)):
            wide, deep = extent(put(tree, room, (room[0] + more[0], room[1] + more[1], PART, 99)))
            assert wide > WIDTH or deep > HEIGHT


@given(trees(), st.integers(1, 9), st.integers(1, 9))
def test_rooms_that_are_too_small_are_those_left_out(tree: Tree, wide: int, deep: int) -> None:
    every = rooms_of(tree, WIDTH, HEIGHT, LEAST, 9)
    kept = rooms_of(tree, WIDTH, HEIGHT, (wide, deep), 9)
    assert sorted(kept) == sorted(room for room in every if room[0] >= wide and room[1] >= deep)


@given(trees(), st.data())
def test_taking_out_leaves_the_others(tree: Tree, data: st.DataObject) -> None:
    paths = paths_of(tree)
    if not paths:
        return
    rest, taken = take(tree, data.draw(st.sampled_from(paths)))
    assert sorted([*variants_of(rest), *variants_of(taken)]) == sorted(variants_of(tree))
    assert rest[0] <= tree[0]
    assert rest[1] <= tree[1]
    assert extent(rest) == rest[:2]


@given(trees(), st.data())
def test_one_part_is_left_out_and_no_other(tree: Tree, data: st.DataObject) -> None:
    every = sorted(variants_of(tree))
    gone = data.draw(st.sampled_from(every))
    rest = without(tree, [gone])
    assert sorted(variants_of(rest) if rest is not None else []) == [one for one in every if one != gone]
