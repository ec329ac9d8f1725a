"""Which limit of the machine or of the order costs stock, in cases that can be counted by hand."""

from __future__ import annotations

from dataclasses import replace

from service.engine.candidates import Candidate
from service.engine.choose import Group, draft_of, job_of
from service.engine.costly_limits import can_be_cut, costly_limits
from service.engine.layout.bound import lower_bound
from service.engine.layout.search import find_layouts
from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Effort, Options, Order, Part, StockItem
from service.engine.planner import _without_one_limit, plan

SHEAR = Machine(
    "m", "Shear M", 300_000, Rating(600), Rake(1.0, 2.0), GapRange(2, 100), BackGauge(500, 100_000),
    HoldDown(4500), front_stops=FrontStops(2000, 250_000, 30), lifting=Lifting(25, 40, 1000),
    sheet_support=True,
)  # fmt: skip


FAR = replace(SHEAR, back_gauge=BackGauge(500, 300_000))
"""The same with a gauge that reaches everything."""


def told(
    parts: tuple[Part, ...],
    sheet: tuple[int, int],
    machine: Machine = SHEAR,
    effort: Effort = "thorough",
    stages: int = 3,
) -> tuple[int, list[str]]:
    """Sheets taken, and what is said of limits."""
    stock = StockItem("S", *sheet, 20, "S235JR", 200)
    options = Options(effort=effort, max_stages=stages)
    found = plan(Order("W", machine, (material_named("S235JR"),), parts, (stock,), options))
    assert not found.unplaced
    return found.summary.sheets, [one.message for one in found.findings if one.code == "limit-costs"]


LONG = Part("A", 120_000, 30_000, 8, "S235JR", 200, "along")


def test_a_gauge_that_goes_to_1000_mm_leaves_one_column_of_1200_a_sheet() -> None:
    """Two columns of 1200 lie in 2500 mm, two of 300 in each: two sheets for eight.

    No column of 1200 can fall past a gauge that goes to 1000, so each sheet gives only its last one: four.
    """
    sheets, said = told((LONG,), (250_000, 62_000))
    assert sheets == 4
    assert len(said) == 1
    assert said[0].startswith(
        "With drops of any depth at the back gauge, and not only up to 1000 mm, these parts"
    )
    assert "in 2 pieces of stock (3.10 m²) instead of 4 pieces of stock (6.20 m²)" in said[0]


def eight_sheets() -> tuple[Order, Group, Candidate]:
    """Eight parts on a sheet each, where two lie on one."""
    steel = material_named("S235JR")
    stock = (StockItem("S", 250_000, 62_000, 20, "S235JR", 200),)
    order = Order("W", SHEAR, (steel,), (LONG,), stock, Options(effort="thorough"))
    group = Group(steel, 200, (LONG,), stock, 300_000)
    job = job_of(order, group)
    one = find_layouts(replace(job, parts=(replace(LONG, quantity=1),))).divisions[0]
    singly = (replace(one, repeat=8),)
    return order, group, Candidate("", singly, (), lower_bound(job, {"A": 8}, singly), False)


def test_a_cheaper_plan_that_keeps_to_all_limits_is_the_better_plan() -> None:
    """The search without the smallest drop puts two on each of four sheets, which that drop allows.

    Two columns of 1200 beside each other, on two sheets, still need the deeper gauge.
    """
    order, group, begun = eight_sheets()
    job = job_of(order, group)
    found, said = costly_limits(job, begun)
    assert can_be_cut(job, found.divisions)
    assert sum(division.repeat for division in found.divisions) == 4
    assert found.bound == lower_bound(job, {"A": 8}, found.divisions)
    assert len(said) == 1
    assert "in 2 pieces of stock (3.10 m²) instead of 4 pieces of stock (6.20 m²)" in said[0].message
    assert said[0].message.endswith(": so much was found to be saved without that limit")


def test_the_better_plan_is_written_out() -> None:
    order, group, begun = eight_sheets()
    draft = draft_of(order, [group], [begun], None)
    assert draft.summary.sheets == 8
    better, said = _without_one_limit(order, [group], draft, None)
    assert better.summary.sheets == 4
    assert sum(layout.repeat for layout in better.layouts) == 4
    assert "instead of 4 pieces of stock" in said[0].message


def test_a_plan_is_judged_by_the_real_machine_and_the_directions_allowed() -> None:
    order, group, _ = eight_sheets()
    job = job_of(order, group)
    deeper = find_layouts(replace(job, machine=FAR)).divisions
    assert can_be_cut(replace(job, machine=FAR), deeper)
    assert not can_be_cut(job, deeper)
    one_direction = replace(job, machine=FAR, options=replace(job.options, max_stages=1))
    assert not can_be_cut(one_direction, deeper)


def test_where_the_limit_is_off_nothing_is_said() -> None:
    assert told((LONG,), (250_000, 62_000), FAR) == (2, [])


def test_the_directions_of_cutting_that_the_order_allows_are_a_limit_too() -> None:
    """Two strips of 600: 500 beside two of 400 × 300 one above the other, and 300 beside 600.

    The two widths of the strips do not match, so they are cut first, and the low parts in a third direction.
    """
    rows = ((500, 600, 1), (400, 300, 2), (300, 600, 1), (600, 600, 1))
    parts = tuple(
        Part(f"P{i}", length * 100, width * 100, count, "S235JR", 200, "along")
        for i, (length, width, count) in enumerate(rows)
    )
    assert told(parts, (95_000, 125_000), FAR) == (1, [])
    sheets, said = told(parts, (95_000, 125_000), FAR, stages=2)
    assert sheets == 2
    assert len(said) == 1
    assert said[0].startswith("With more than 2 directions of cutting, these parts were placed in 1 piece")


def test_only_a_thorough_search_looks_for_it() -> None:
    for effort in ("quick", "standard"):
        sheets, said = told((LONG,), (250_000, 62_000), effort=effort)
        assert (sheets, said) == (4, [])
