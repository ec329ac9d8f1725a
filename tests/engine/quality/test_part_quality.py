"""What a plan says of the accuracy of its parts: the stack-up of the very cuts that make them."""

from dataclasses import replace

import pytest

from service.drawing.text import program_text
from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem, Tolerance
from service.engine.planner import plan
from service.engine.quality.parts import part_quality
from service.engine.quantities import mm, parse_length
from service.engine.sag import length_gained

SHEAR = Machine(
    "m", "Bench 3 m", mm(3000), Rating(600), Rake(1.5, 1.5), GapRange(1, 100),
    BackGauge(mm(5), mm(1000), accuracy=10), HoldDown(mm(45)), sheet_support=True, squaring_arm=mm(2000),
    relief=True,
)  # fmt: skip


def offcut(length: float, width: float, oversize: float = 0.5, quantity: int = 1) -> StockItem:
    """An offcut of 3 mm S235JR with cut edges."""
    return StockItem(
        "R-1", mm(length), mm(width), quantity, "S235JR", 300, "offcut", "cut", mm(oversize)
    )  # fmt: skip


def planned(part: Part, stock: StockItem, machine: Machine = SHEAR):
    order = Order(
        "W-1", machine, (material_named(part.material),), (part,), (stock,), Options(effort="quick")
    )
    return plan(order)


def blank(length: float, width: float, quantity: int = 1, tolerance: Tolerance | None = None) -> Part:
    return Part("P1", mm(length), mm(width), quantity, "S235JR", 300, tolerance=tolerance or Tolerance("c"))


def said(found, dimension="length"):
    return next(one for one in found.quality if one.dimension == dimension)


def test_a_drop_is_as_good_as_the_back_gauge_and_an_uncut_side_as_the_stock():
    found = planned(blank(600, 500), offcut(1000, 500))
    length, width = said(found), said(found, "width")
    assert (length.gauged, length.accuracy, length.inside) == ("back gauge", 10, 1.0)
    assert (width.gauged, width.accuracy) == ("stock size", 50)
    # Evenly spread over 0 … 0.5 mm; ISO 2768-1 class c allows ±2 (c: 400 … 1000).
    assert (width.minus, width.plus, width.inside) == (200, 200, 1.0)


def test_the_last_part_carries_the_stock_and_every_cut_before_it():
    found = planned(blank(500, 500, 2), offcut(1000, 500))
    length = said(found)
    assert (length.gauged, length.accuracy) == ("remainder", 60)
    three = said(planned(blank(300, 500, 3), offcut(900, 500)))
    assert (three.gauged, three.accuracy) == ("remainder", 70)


def test_the_chance_of_a_remainder_is_that_of_the_very_sum():
    # 0 … 0.5 mm evenly over size, less a cut of ±0.1 (σ 0.05); wanted −0.6 +0.6: all but nothing beyond.
    wide = said(planned(blank(500, 500, 2, Tolerance(minus=60, plus=60)), offcut(1000, 500)))
    assert wide.accuracy == 60
    assert wide.inside > 0.99
    # With limits of −0.6 +0.8 nothing is beyond them at all.
    loose = said(planned(blank(500, 500, 2, Tolerance(minus=60, plus=80)), offcut(1000, 500)))
    assert loose.inside == 1.0
    assert (loose.minus, loose.plus) == (60, 80)


@pytest.mark.parametrize(("limit", "gauged"), [(60, "remainder"), (59, "back gauge")])
def test_a_part_whose_tolerance_the_remainder_cannot_hold_is_gauged(limit, gauged):
    """Two of 400 from 800: the second is left over, or it is gauged and scrap beyond it is cut away."""
    tolerance = Tolerance(minus=limit, plus=limit)
    longer = planned(blank(400, 500, 2, tolerance), offcut(860, 500))
    assert said(longer).accuracy == 10
    exact = planned(blank(400, 500, 2, tolerance), offcut(800, 500))
    placed = sum(1 for step in exact.program for out in (*step.drops, *step.remainders) if out.kind == "part")
    if gauged == "remainder":
        assert exact.unplaced == ()
        assert (said(exact).gauged, said(exact).accuracy) == ("remainder", 60)
    else:
        # One is gauged; what is left of the offcut would not hold the other.
        assert placed == 1
        assert [one.quantity for one in exact.unplaced] == [1]
        assert said(exact).accuracy == 10


def test_no_part_of_a_plan_comes_out_worse_than_its_tolerance():
    for width in (100, 250, 333.33):
        for name in ("f", "m", "c", "v"):
            found = planned(blank(700, width, 5, Tolerance(name)), offcut(1900, 900, 0.5, 3))
            for one in found.quality:
                assert one.accuracy <= min(one.minus, one.plus)


def test_a_front_stop_and_a_marked_line_are_named_with_their_accuracy():
    short = replace(SHEAR, back_gauge=BackGauge(mm(5), mm(200), accuracy=10), gauge_clears=True)
    stops = replace(short, front_stops=FrontStops(mm(50), mm(2000), 30))
    line = replace(short, marked_line_accuracy=60)
    for machine, gauged, accuracy in ((stops, "front stop", 30), (line, "marked line", 60)):
        length = said(planned(blank(600, 500), offcut(1000, 500), machine))
        assert (length.gauged, length.accuracy) == (gauged, accuracy)


def test_a_gauge_in_coarse_steps_shifts_every_piece_the_same_way():
    coarse = replace(SHEAR, back_gauge=BackGauge(mm(5), mm(1000), step=100, accuracy=10))
    length = said(planned(blank(600.4, 500, 1, Tolerance(minus=50, plus=50)), offcut(1000, 500), coarse))
    assert length.accuracy == 50
    # 0.4 mm short, ±0.1 as two deviations about that: −0.5 is two deviations below, 97.72 % by any table.
    assert length.inside == pytest.approx(0.97725, abs=1e-5)


def test_a_drop_that_sags_is_cut_long_by_the_pull_back():
    bare = replace(SHEAR, sheet_support=False)
    thin = Part("P1", mm(500), mm(400), 1, "S235JR", 100, tolerance=Tolerance("v"))
    stock = StockItem("R-1", mm(900), mm(400), 1, "S235JR", 100, "offcut", "cut", 50)
    # 1 mm steel over 500 mm sags 34.37 mm and draws back 1.35 mm (beam tables).
    told = said(planned(thin, stock, bare))
    assert [one.code for one in told.findings if one.code.startswith("sag")] == ["sag-length"]
    assert "1.35 mm too long" in told.findings[0].message
    assert (told.gauged, told.accuracy) == ("back gauge", 10 + 135)
    # Finer than that it is gauged otherwise: by a stop where there is one, else by what falls beyond it.
    fine = replace(thin, tolerance=Tolerance(minus=100, plus=100))
    stops = replace(bare, front_stops=FrontStops(mm(50), mm(2000), 30))
    held = said(planned(fine, stock, stops))
    assert (held.gauged, held.accuracy, held.inside) == ("front stop", 30, 1.0)
    carried = said(planned(fine, stock))
    assert (carried.gauged, carried.inside, carried.findings) == ("back gauge", 1.0, ())


def test_beyond_small_bending_a_drop_is_not_gauged():
    bare = replace(SHEAR, sheet_support=False)
    foil = Part("P1", mm(800), mm(400), 1, "S235JR", 80, tolerance=Tolerance("v"))
    stock = StockItem("R-1", mm(1200), mm(400), 1, "S235JR", 80, "offcut", "cut", 50)
    with pytest.raises(ValueError, match="misses the gauge"):
        length_gained(material_named("S235JR"), 80, mm(800))
    told = said(planned(foil, stock, bare))
    # The 400 beyond it are gauged instead, and the part is what is left.
    assert told.gauged == "remainder"
    assert told.inside is not None


def test_what_sag_adds_is_not_told_below_a_tenth_of_the_tolerance():
    """3 mm steel over 640 mm: sag 34.37·(640/500)⁴/9 = 10.25 mm, drawn back 4/7·10.25²/640 = 0.094 mm."""
    bare = replace(SHEAR, sheet_support=False)
    stock = offcut(1000, 500)
    for limit, told in ((100, False), (80, True)):
        found = said(planned(blank(640, 500, 1, Tolerance(minus=limit, plus=limit)), stock, bare))
        assert ("sag-length" in [one.code for one in found.findings]) == told
        assert found.gauged == "back gauge"


def test_the_chance_of_each_is_not_the_chance_of_all():
    """Gauged to ±0.1 and wanted to ±0.1: two deviations, so 0.9545 each and 0.9545²⁴ = 0.33 together."""
    tolerance = Tolerance(minus=10, plus=10)
    for count, doubtful in ((1, False), (24, True)):
        found = said(planned(blank(300, 1000, count, tolerance), offcut(1000, 1000, 0, 24)))
        assert (found.inside, found.count) == (0.9545, count)
        assert found.outside == pytest.approx(count * 0.0455)
        assert found.all_inside == pytest.approx(0.9545**count, abs=1e-6)
        told = [one.message for one in found.findings if one.code == "tolerance-doubtful"]
        assert bool(told) == doubtful
    assert "of 24 about 1.1 lie outside" in told[0]
    assert "all are inside is 32.7 %" in told[0]


def test_a_narrow_part_that_falls_is_told_with_its_ground():
    found = planned(blank(500, 20, 3), offcut(500, 400))
    codes = [one.code for line in found.quality for one in line.findings]
    assert codes == ["narrow-part-twist"]
    assert "rule of thumb" in said(found, "width").findings[0].basis


def test_limits_in_inches_are_those_limits():
    limit = parse_length("1/64 in")
    told = said(planned(blank(600, 500, 1, Tolerance(minus=limit, plus=limit)), offcut(1000, 560)))
    assert (told.minus, told.plus) == (40, 40)  # 0.396875 mm


def test_the_text_ends_with_a_short_table_of_the_quality():
    text = program_text(planned(blank(500, 500, 2), offcut(1000, 500)), width=80)
    rows = text[text.index("QUALITY") :].splitlines()
    assert rows[1].split() == ["PART", "SIZE", "WORST", "BY", "±", "WANTED", "EACH", "ALL"]
    assert rows[2].split() == [
        "P1",
        "length",
        "500",
        "what",
        "stays",
        "0.6",
        "±2",
        ">",
        "99.9",
        "%",
        ">",
        "99.9",
        "%",
    ]
    assert rows[3].split() == [
        "P1",
        "width",
        "500",
        "stock",
        "size",
        "0.5",
        "±2",
        ">",
        "99.9",
        "%",
        ">",
        "99.9",
        "%",
    ]
    assert all(len(row) <= 80 for row in rows)


def test_what_was_not_placed_has_no_quality():
    found = planned(blank(2000, 500), offcut(1000, 500))
    assert found.unplaced
    assert found.quality == ()


@pytest.mark.parametrize("narrow", [(300, 20), (600, 20)])
def test_twist_is_told_by_the_rake_of_the_cut_that_drops_the_part(narrow):
    """By itself, or within a strip that is cut up later; other cuts of the layout may be steeper."""
    parts = (blank(1500, 600), replace(blank(*narrow, 2), ref="NARROW"))
    order = Order(
        "W-1",
        replace(SHEAR, lifting=Lifting(crane_kg=1000)),
        (material_named("S235JR"),),
        parts,
        (offcut(2500, 1250),),
        Options(effort="quick"),
    )
    found = plan(order)
    assert [one.fall_depth for one in found.program].count(mm(20)) == 1
    program = tuple(
        replace(one, settings=replace(one.settings, rake_deg=1.25 if one.fall_depth == mm(20) else 2.75))
        for one in found.program
    )
    twisted = {
        (line.ref, line.dimension): one.message
        for line in part_quality(order, found.layouts, program)
        for one in line.findings
        if one.code == "narrow-part-twist"
    }
    assert list(twisted) == [("NARROW", "width")]
    assert "6.7 thicknesses at a rake of 1.25°" in twisted["NARROW", "width"]
