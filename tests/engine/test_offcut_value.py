"""What an offcut is worth: never more in parts than whole. The formula is our own, a shop default."""

from hypothesis import given
from hypothesis import strategies as st

from service.engine.offcut_value import offcut_value, tree_value
from service.engine.plan import Leaf, Split

KEEP = (30000, 20000)
sides = st.tuples(st.integers(1, 300_000), st.integers(1, 300_000))


@given(sides, sides, st.floats(0.01, 0.99))
def test_a_piece_is_worth_at_least_what_its_parts_are(
    piece: tuple[int, int], keep: tuple[int, int], share: float
) -> None:
    cut = max(1, int(piece[0] * share))
    parts = [(cut, piece[1]), (piece[0] - cut, piece[1])]
    # Each part is rounded down, the whole once.
    assert offcut_value(piece, keep) + 1 >= sum(offcut_value(one, keep) for one in parts if min(one) > 0)


@given(sides, st.integers(0, 10_000), st.integers(0, 10_000))
def test_a_larger_piece_is_never_worth_less(piece: tuple[int, int], more_x: int, more_y: int) -> None:
    assert offcut_value((piece[0] + more_x, piece[1] + more_y), KEEP) >= offcut_value(piece, KEEP)


@given(sides)
def test_it_is_worth_no_more_than_its_area_and_the_same_turned(piece: tuple[int, int]) -> None:
    assert 0 <= offcut_value(piece, KEEP) <= piece[0] * piece[1]
    assert offcut_value(piece, KEEP) == offcut_value(piece[::-1], KEEP)


def test_one_that_is_just_kept_counts_a_quarter_of_its_area() -> None:
    assert offcut_value(KEEP, KEEP) == KEEP[0] * KEEP[1] // 4


def test_one_large_offcut_beats_three_slivers_of_the_same_area() -> None:
    slivers = [Leaf("offcut", 0, 20000 * n, 120000, 20000) for n in range(3)]
    whole = Leaf("offcut", 0, 0, 120000, 60000)
    scrap = Leaf("scrap", 0, 60000, 120000, 60000)
    in_parts = Split("y", 0, 0, 120000, 120000, (*slivers, scrap))
    in_one = Split("y", 0, 0, 120000, 120000, (whole, scrap))
    assert tree_value(in_one, KEEP) > 1.5 * tree_value(in_parts, KEEP) > 0
