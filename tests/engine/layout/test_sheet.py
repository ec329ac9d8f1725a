"""What is kept of a sheet, against looking at every room."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from service.engine.layout.kinds import Variant
from service.engine.layout.sheet import NOWHERE, Reach, Sheet
from service.engine.layout.slack import PART, Tree, put

WIDTH, HEIGHT = 40, 30

SIZES = st.lists(st.tuples(st.integers(1, 25), st.integers(1, 25)), min_size=1, max_size=8)


def variants(sizes: list[tuple[int, int]]) -> list[Variant]:
    """Each size as it is and turned."""
    return [
        Variant(kind, *lies, turned, 0, 0)
        for kind, (a, b) in enumerate(sizes)
        for turned, lies in ((False, (a, b)), (True, (b, a)))
    ]


@st.composite
def sheets(draw: st.DrawFn, ways: list[Variant]) -> Sheet:
    """A sheet into which some parts were put."""
    sheet = Sheet(0, None, (WIDTH, HEIGHT), (1, 1), 9)
    for _ in range(draw(st.integers(0, 6))):
        number = draw(st.integers(0, len(ways) - 1))
        leaf: Tree = (ways[number].dx, ways[number].dy, PART, number)
        fits = sheet.all_fits([leaf])
        if fits:
            room = sheet.rooms()[draw(st.sampled_from(fits))[3]]
            tree = leaf if sheet.tree is None else put(sheet.tree, room, leaf)
            sheet = Sheet(0, tree, (WIDTH, HEIGHT), (1, 1), 9)
    return sheet


@given(SIZES, st.integers(0, 26), st.integers(0, 26))
def test_reach_names_just_the_variants_that_are_small_enough(
    sizes: list[tuple[int, int]], x: int, y: int
) -> None:
    ways = variants(sizes)
    wanted = sum(1 << i for i, v in enumerate(ways) if v.dx <= x and v.dy <= y)
    assert Reach(ways).into(x, y) == wanted


@given(SIZES, st.data())
def test_the_best_room_is_the_best_of_all_and_none_is_missed(
    sizes: list[tuple[int, int]], data: st.DataObject
) -> None:
    ways = variants(sizes)
    sheet = data.draw(sheets(ways))
    sheet.hold(Reach(ways))
    for kind in range(len(sizes)):
        leaves: list[Tree] = [(v.dx, v.dy, PART, i) for i, v in enumerate(ways) if v.kind == kind]
        every = sheet.all_fits(leaves)
        assert bool(sheet.held & sum(1 << leaf[3] for leaf in leaves)) == bool(every)
        assert sheet.fit(kind, leaves) == min(every, default=NOWHERE)
