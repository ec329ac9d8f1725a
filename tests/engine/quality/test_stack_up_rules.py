"""The errors of a level of cuts, one by one: what each piece carries after it."""

from service.engine.layout.rules import Extent, level
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.quantities import mm

SHEAR = Machine(
    "m", "Bench 3 m", mm(3000), Rating(600), Rake(1.5, 1.5), GapRange(1, 100),
    BackGauge(mm(5), mm(1000), accuracy=10), HoldDown(mm(45)),
)  # fmt: skip
LOOSE = mm(100)


def spreads(extent: Extent, *sizes: float, trim: float = 5) -> list[int]:
    count = len(sizes)
    made = level(SHEAR, extent, tuple(map(mm, sizes)), (LOOSE,) * count, (False,) * count, mm(trim))
    assert not isinstance(made, str), made
    return [one.made.spread for one in made]


def test_drops_carry_the_gauge_and_the_rest_carries_all():
    cut = Extent(mm(1000), False, False, 50)
    assert spreads(cut, 300, 300, 400) == [10, 10, 70]


def test_a_size_gauged_from_a_mill_edge_is_as_good_as_that_edge():
    mill = Extent(mm(1000), True, False, 2000)
    assert spreads(mill, 300, 300, 400) == [510, 10, 2520]
    assert spreads(mill, 300, 300, 400, trim=0) == [10, 10, 2020]


def test_what_was_gauged_from_the_far_end_has_the_accuracy_of_the_gauge():
    # 1200 is beyond the gauge, so the 800 behind it are gauged from the far end.
    cut = Extent(mm(2000), False, False, 50)
    assert spreads(cut, 1200, 800) == [60, 10]
    assert spreads(cut, 1200, 300, 500) == [60, 10, 20]
