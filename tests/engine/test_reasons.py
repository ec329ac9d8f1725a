"""Why pieces are not planned, as the person reads it who ordered them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Order, Part, StockItem, Tolerance
from service.engine.planner import plan
from service.engine.quantities import mm
from service.engine.reasons import one_sided

STEEL, STAINLESS = material_named("S235JR"), material_named("1.4301")
SHEAR = Machine(
    "m", "Shear M", mm(3000), Rating(mm(13)), Rake(1.5, 1.5), GapRange(5, 200), BackGauge(mm(5), mm(1000)),
    HoldDown(mm(45)), relief=True, sheet_support=True, force_limit_kn=300.0, lifting=Lifting(25, 40, 1000),
)  # fmt: skip


def reason(part: Part, *stock: StockItem, machine: Machine = SHEAR) -> str:
    made = plan(Order("W-1", machine, (STEEL, STAINLESS), (part,), stock))
    assert [one.ref for one in made.unplaced] == ["A"]
    return made.unplaced[0].reason


def sheet(material: str, thickness: float) -> StockItem:
    return StockItem(f"S-{thickness}", mm(3000), mm(1500), 2, material, mm(thickness))


def test_too_little_force_is_told_as_force_without_hundredths() -> None:
    words = reason(Part("A", mm(500), mm(500), 3, "1.4301", mm(10)), sheet("1.4301", 10))
    assert words.startswith("500 × 500 mm: a long cut in 10 mm 1.4301 takes ")
    assert "kN, Shear M has 300 kN" in words
    assert "along the blade" not in words
    assert "." not in words.replace("1.4301", "")


def test_what_is_over_the_rating_is_told_with_the_rating() -> None:
    weak = replace(SHEAR, rating=Rating(mm(4)))
    words = reason(Part("A", mm(500), mm(500), 3, "S235JR", mm(8)), sheet("S235JR", 8), machine=weak)
    assert "the machine is rated for 4 mm of 450 N/mm²" in words


def test_missing_stock_is_named_with_the_thicknesses_there_are() -> None:
    wanted = Part("A", mm(500), mm(500), 3, "1.4301", mm(4))
    assert reason(wanted) == "there is no stock of 4 mm 1.4301"
    words = reason(wanted, sheet("1.4301", 2), sheet("1.4301", 1.5), sheet("S235JR", 4))
    assert words == "there is no stock of 4 mm 1.4301; of this material there is 1.5 and 2 mm"


def test_limits_too_near_to_each_other_are_told_as_ordered() -> None:
    tolerance = Tolerance(minus=mm(0.15), plus=0)
    words = reason(Part("A", mm(600), mm(500), 3, "S235JR", mm(3), tolerance=tolerance), sheet("S235JR", 3))
    assert "its length of 600 is ordered plus 0, minus 0.15" in words
    assert "may be off by ±0.1 either way, which is more" in words
    assert "±0 mm" not in words


def test_limits_on_one_side_are_cut_in_the_middle_of_the_band() -> None:
    tolerance = Tolerance(minus=mm(0.5), plus=0)
    part = Part("A", mm(600), mm(500), 3, "S235JR", mm(3), tolerance=tolerance)
    made = plan(Order("W-1", SHEAR, (STEEL,), (part,), (sheet("S235JR", 3),)))
    assert made.unplaced == ()
    sizes = {(out.dx, out.dy) for step in made.program for out in step.drops if out.kind == "part"}
    assert sizes <= {(59975, 49975), (49975, 59975)}
    assert {(one.size, one.aim, one.minus, one.plus) for one in made.quality} == {
        (60000, 59975, 50, 0),
        (50000, 49975, 50, 0),
    }
    # The back gauge holds ±0.1 within ±0.25.
    assert all(one.inside is not None and one.inside > 0.99 for one in made.quality)


@pytest.mark.parametrize(
    ("minus", "plus", "told"), [(10, 10, False), (0, 15, True), (0, 20, False), (10, 50, False)]
)
def test_only_a_band_that_is_too_narrow_is_spoken_of(minus: int, plus: int, told: bool) -> None:
    words = one_sided(SHEAR, Tolerance(minus=minus, plus=plus), "width", mm(600))
    assert (words is not None) == told


def test_a_size_that_nothing_gauges_is_left_to_the_search_and_front_stops_count() -> None:
    lopsided = Tolerance(minus=0, plus=mm(0.9))
    assert one_sided(SHEAR, lopsided, "length", mm(1500)) is None
    stops = replace(SHEAR, front_stops=FrontStops(mm(50), mm(2000), mm(0.5)))
    assert "±0.5 either way" in str(one_sided(stops, lopsided, "length", mm(1500)))


def test_the_class_that_would_do_is_named_and_does() -> None:
    """Sides from 6 to 30 mm: m ±0.2, c ±0.5; from 120 to 400: m ±0.5, c ±1.2 (ISO 2768-1:1989, table 1)."""
    coarse = replace(
        SHEAR, hold_down=HoldDown(mm(15)), back_gauge=replace(SHEAR.back_gauge, accuracy=mm(0.3))
    )
    part = Part("A", mm(300), mm(25), 4, "S235JR", mm(2))
    words = reason(part, sheet("S235JR", 2), machine=coarse)
    assert words.startswith("300 × 25 mm: its tolerance of ±0.2 mm is finer than the back gauge; ")
    assert words.endswith("; tolerance class c (±1.2 and ±0.5 mm) would do")
    wider = replace(part, tolerance=Tolerance("c"))
    assert not plan(Order("W-1", coarse, (STEEL,), (wider,), (sheet("S235JR", 2),))).unplaced


def test_no_class_is_named_where_none_would_do_or_the_limits_are_those_of_the_order() -> None:
    rough = replace(SHEAR, back_gauge=replace(SHEAR.back_gauge, accuracy=mm(2)))
    part = Part("A", mm(300), mm(25), 4, "S235JR", mm(2))
    assert "would do" not in reason(part, sheet("S235JR", 2), machine=rough)
    coarse = replace(SHEAR, back_gauge=replace(SHEAR.back_gauge, accuracy=mm(0.3)))
    own = replace(part, tolerance=Tolerance(plus=mm(0.2)))
    assert "would do" not in reason(own, sheet("S235JR", 2), machine=coarse)


@pytest.mark.parametrize(("length", "width"), [(3200, 200), (200, 3200)])
def test_a_part_that_is_cut_for_another_size_is_told_by_the_size_ordered(length: int, width: int) -> None:
    """Sides from 120 to 400 mm: f ±0.2; from 2000 to 4000: no f, ±0.25 of the band (ISO 2768-1, table 1)."""
    own = Tolerance(minus=mm(0.5), plus=0)
    words = reason(Part("A", mm(length), mm(width), 1, "S235JR", mm(3), tolerance=own), sheet("S235JR", 3))
    assert words.startswith("3200 × 200 mm, cut for 3199.75 × 199.8 mm, fits on no piece of stock")
    same = reason(Part("A", mm(length), mm(width), 1, "S235JR", mm(3)), sheet("S235JR", 3))
    assert same.startswith("3200 × 200 mm fits on no piece of stock")
