"""What the search does in plain cases, told by the trade."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction

import pytest

from service.engine.layout.job import Found, Job
from service.engine.layout.search import find_layouts
from service.engine.machine import FrontStops, HoldDown, Machine
from service.engine.order import Options, Part, StockItem, Tolerance
from service.engine.plan import Leaf, Node

MM = 100


def part(ref: str, length: int, width: int, quantity: int, **more: object) -> Part:
    return Part(ref, length * MM, width * MM, quantity, "S235JR", 300, **more)  # type: ignore[arg-type]


def sheet(ref: str, length: int, width: int, quantity: int, **more: object) -> StockItem:
    return StockItem(ref, length * MM, width * MM, quantity, "S235JR", 300, **more)  # type: ignore[arg-type]


def job(machine: Machine, parts: list[Part], stock: list[StockItem], **options: object) -> Job:
    return Job(machine, tuple(parts), tuple(stock), Options(**options), machine.cutting_length)  # type: ignore[arg-type]


def leaves(node: Node) -> list[Leaf]:
    return [node] if isinstance(node, Leaf) else [leaf for child in node.children for leaf in leaves(child)]


def pieces(found: Found) -> int:
    return sum(division.repeat for division in found.divisions)


# The plan worked by hand: 2500 × 1250 × 3 with mill edges, trim 5, parts 600 × 300, class m. Its figures
# follow from the sizes: 5 + 4 · 600 + 95 = 2500 and 5 + 4 · 300 + 45 = 1250.


def test_eight_parts_leave_one_large_offcut_and_no_slivers(bench: Machine) -> None:
    found = find_layouts(job(bench, [part("P1", 600, 300, 8)], [sheet("A", 2500, 1250, 1)]))
    assert found.unplaced == ()
    assert pieces(found) == 1
    offcuts = [leaf for leaf in leaves(found.divisions[0].tree) if leaf.kind == "offcut"]
    assert len(offcuts) == 1
    # By hand the offcut was 2500 × 645; any layout must do at least as well.
    assert offcuts[0].dx * offcuts[0].dy >= 2500 * MM * 645 * MM


def test_sixteen_parts_just_fit_because_the_last_rest_can_just_be_clamped(bench: Machine) -> None:
    found = find_layouts(job(bench, [part("P1", 600, 300, 16)], [sheet("A", 2500, 1250, 1)]))
    assert found.unplaced == ()
    assert found.bound.gap_pieces == 0


def test_one_more_millimetre_of_clamping_depth_costs_a_second_sheet(bench: Machine) -> None:
    deep = replace(bench, hold_down=HoldDown(4600))
    found = find_layouts(job(deep, [part("P1", 600, 300, 16)], [sheet("A", 2500, 1250, 5)]))
    assert found.unplaced == ()
    assert pieces(found) == 2


def test_a_front_stop_holds_the_last_strip_where_the_rest_cannot_be_clamped(bench: Machine) -> None:
    deep = replace(bench, hold_down=HoldDown(6000), front_stops=FrontStops(100 * MM, 1500 * MM))
    found = find_layouts(job(deep, [part("P1", 600, 300, 16)], [sheet("A", 2500, 1250, 5)]))
    assert pieces(found) == 1


def test_parts_wanted_finer_than_the_gauge_are_refused_with_the_limit(bench: Machine) -> None:
    fine = part("P1", 600, 300, 2, tolerance=Tolerance("m", 5, 5))
    found = find_layouts(job(bench, [fine], [sheet("A", 2500, 1250, 1)]))
    assert [(u.ref, u.quantity, u.code) for u in found.unplaced] == [("P1", 2, "no-gauging")]
    assert "finer than the back gauge" in found.unplaced[0].reason


def test_a_size_between_two_positions_of_the_gauge_is_refused_for_that_reason(bench: Machine) -> None:
    stepped = replace(bench, back_gauge=replace(bench.back_gauge, step=50))
    odd = replace(part("P1", 600, 300, 2, tolerance=Tolerance("m", 15, 15)), length=60025, width=30025)
    found = find_layouts(job(stepped, [odd], [sheet("A", 2500, 1250, 1)]))
    assert "moves in steps of 0.5 mm and stands at" in found.unplaced[0].reason


@pytest.mark.parametrize(
    ("parts", "stock", "options", "code", "words"),
    [
        ([part("P", 600, 300, 2)], [], {}, "no-stock-of-material", "no stock"),
        (
            [part("P", 2600, 300, 2)],
            [sheet("A", 2500, 1250, 1)],
            {},
            "larger-than-stock",
            "the longest is 2500 × 1250 mm",
        ),
        (
            [part("P", 2600, 300, 2)],
            [sheet("A", 2500, 1250, 1), sheet("B", 2000, 1500, 1)],
            {},
            "larger-than-stock",
            "the longest is 2500 × 1250 mm, the widest 2000 × 1500 mm",
        ),
        ([part("P", 2496, 300, 2)], [sheet("A", 2500, 1250, 1)], {}, "larger-than-stock", "trimmed"),
        ([part("P", 600, 300, 2)], [sheet("A", 3500, 3500, 1)], {}, "over-cutting-length", "3500"),
        (
            [part("P", 600, 300, 2)],
            [sheet("A", 2500, 1250, 1)],
            {"max_stages": 1},
            "too-many-stages",
            "2 stages",
        ),
        ([part("P", 1100, 1050, 1)], [sheet("A", 2500, 1250, 1)], {}, "no-gauging", "back gauge's 5 to 1000"),
    ],
)
def test_what_cannot_be_made_says_why(
    bench: Machine,
    parts: list[Part],
    stock: list[StockItem],
    options: dict[str, object],
    code: str,
    words: str,
) -> None:
    found = find_layouts(job(bench, parts, stock, **options))
    assert found.divisions == ()
    assert [(u.ref, u.quantity, u.code) for u in found.unplaced] == [("P", parts[0].quantity, code)]
    assert words in found.unplaced[0].reason


def test_a_cut_longer_than_the_force_allows_is_refused_as_such(bench: Machine) -> None:
    limited = Job(
        bench, (part("P", 600, 300, 1),), (sheet("A", 2500, 1250, 1),), Options(), longest=1000 * MM
    )
    (unplaced,) = find_layouts(limited).unplaced
    assert unplaced.code == "over-force"


def test_what_the_stock_does_not_suffice_for_is_listed_and_the_rest_is_planned(bench: Machine) -> None:
    found = find_layouts(job(bench, [part("P", 600, 300, 20)], [sheet("A", 2500, 1250, 1)]))
    assert [(u.ref, u.quantity, u.code) for u in found.unplaced] == [("P", 4, "stock-exhausted")]
    assert pieces(found) == 1


def test_the_cheapest_stock_is_taken_when_all_of_it_has_a_price(bench: Machine) -> None:
    stock = [sheet("dear", 1300, 700, 5, price=90.0), sheet("cheap", 2500, 1250, 5, price=60.0)]
    found = find_layouts(job(bench, [part("P", 600, 300, 2)], stock))
    assert [d.stock_ref for d in found.divisions] == ["cheap"]
    assert found.bound.cost is not None
    assert found.bound.cost <= 60.0


def test_without_prices_the_smaller_piece_is_taken(bench: Machine) -> None:
    stock = [sheet("small", 1300, 700, 5), sheet("large", 2500, 1250, 5)]
    found = find_layouts(job(bench, [part("P", 600, 300, 2)], stock))
    assert [d.stock_ref for d in found.divisions] == ["small"]


def test_an_offcut_is_used_up_before_a_sheet_of_the_same_size(bench: Machine) -> None:
    stock = [sheet("new", 1300, 700, 5), sheet("rack", 1300, 700, 1, kind="offcut")]
    found = find_layouts(job(bench, [part("P", 600, 300, 2)], stock))
    assert [d.stock_ref for d in found.divisions] == ["rack"]


def test_equal_layouts_are_one_division_with_a_repeat(bench: Machine) -> None:
    found = find_layouts(job(bench, [part("P", 600, 300, 160)], [sheet("A", 2500, 1250, 20)]))
    assert [d.repeat for d in found.divisions] == [10]
    assert found.bound.gap_pieces == 0


def test_lines_that_want_equal_blanks_share_layouts_and_keep_their_references(bench: Machine) -> None:
    parts = [part("P", 600, 300, 10), part("Q", 300, 600, 6)]
    found = find_layouts(job(bench, parts, [sheet("A", 2500, 1250, 1)]))
    assert found.unplaced == ()
    made = [leaf for leaf in leaves(found.divisions[0].tree) if leaf.kind == "part"]
    assert sorted(leaf.ref or "" for leaf in made) == ["P"] * 10 + ["Q"] * 6
    for leaf in made:
        lengthwise = leaf.dx == 600 * MM
        assert leaf.rotated != (lengthwise == (leaf.ref == "P"))


def test_grain_keeps_parts_from_being_turned(bench: Machine) -> None:
    stock = [sheet("A", 1000, 700, 9, edges="cut", oversize=0)]
    # 900 × 200 along the grain: three strips and a rest of 100; across it: 900 is longer than the 700.
    along = find_layouts(job(bench, [part("P", 900, 200, 3, grain="along")], stock))
    across = find_layouts(job(bench, [part("P", 900, 200, 3, grain="across")], stock))
    assert pieces(along) == 1
    assert not any(leaf.rotated for leaf in leaves(along.divisions[0].tree))
    assert [u.code for u in across.unplaced] == ["larger-than-stock"]
    assert "grain" in across.unplaced[0].reason


def test_the_same_question_gets_the_same_answer_whatever_the_hash_seed() -> None:
    program = (
        "from service.engine.layout.job import Job\n"
        "from service.engine.layout.search import find_layouts\n"
        "from service.engine.machine import *\n"
        "from service.engine.order import *\n"
        "m = Machine('m', 'm', 300000, Rating(600), Rake(1, 2), GapRange(2, 100),"
        " BackGauge(500, 100000), HoldDown(4500))\n"
        "parts = tuple(Part(f'P{i}', 15000 + 3700 * i, 9000 + 1900 * (i * 5 % 7), 3 + i, 'S', 300)"
        " for i in range(8))\n"
        "stock = (StockItem('A', 250000, 125000, 9, 'S', 300), StockItem('B', 200000, 100000, 9, 'S', 300))\n"
        "print(find_layouts(Job(m, parts, stock, Options(effort='quick'), 300000)))\n"
    )
    answers = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        for seed in ("0", "1", "4242")
    }
    assert len(answers) == 1
    assert "divisions=(Division(" in answers.pop()


def test_effort_does_not_grow_with_the_quantity_of_the_same_kinds(bench: Machine) -> None:
    def effort(times: int) -> int:
        parts = [part(f"P{i}", 200 + 70 * i, 150 + 40 * i, 30 * times) for i in range(6)]
        stock = [sheet("A", 2500, 1250, 10_000)]
        return find_layouts(job(bench, parts, stock, effort="quick")).effort_used

    assert effort(100) < 5 * effort(1)


def test_a_search_that_cannot_come_down_to_what_is_of_use_ends_early(bench: Machine) -> None:
    wanted = [part(f"P{i}", 200 + 47 * i, 150 + 59 * i, 5) for i in range(8)]
    asked = job(bench, wanted, [sheet("S", 2000, 1000, 50)], effort="quick")
    whole = find_layouts(asked)
    least = whole.bound.area_mm2
    ended = find_layouts(replace(asked, most=Fraction(least) - 1))
    assert whole.bound.gap_pieces > 0, "or the search would end at once anyway"
    assert ended.effort_used < whole.effort_used
    assert pieces(ended) == pieces(whole)
    used = sum(one.repeat for one in whole.divisions) * 2000 * 1000
    assert find_layouts(replace(asked, most=Fraction(used))).divisions == whole.divisions
