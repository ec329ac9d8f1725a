"""Plans for an objective, and comparisons: what each of them promises."""

import json
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.orders import read_order, write_order
from schemas.plans import read_plan, write_plan
from schemas.problems import WireError
from service.engine.choose import Progress
from service.engine.fingerprint import fingerprint
from service.engine.machine import (
    BackGauge,
    FrontStops,
    GapRange,
    HoldDown,
    Lifting,
    Machine,
    Rake,
    Rating,
)
from service.engine.materials_table import material_named
from service.engine.objectives import Figures, dominates, handling_of, to_show, undominated
from service.engine.order import Objective, Options, Order, Part, StockItem
from service.engine.plan import CutPlan
from service.engine.planner import PickError, PriceError, picked, plan, plans
from service.engine.verifier import verify
from tests.strategies import small_orders

MM = 100
SHEAR = Machine(
    "bench",
    "bench shear",
    310_000,
    Rating(600),
    Rake(0.5, 2.5),
    GapRange(5, 100),
    BackGauge(500, 100_000),
    HoldDown(4500),
    front_stops=FrontStops(10_000, 300_000),
    marked_line_accuracy=100,
    squaring_arm=300_000,
    relief=True,
    sheet_support=True,
    lifting=Lifting(25, 50, 2000),
)
SIZES = ((600, 300, 5), (410, 230, 9), (655, 175, 7), (820, 440, 3), (390, 120, 8), (505, 340, 4))


def worked(objective: Objective = "compare", **options: Any) -> Order:
    """Six lines of different sizes, sheets of two sizes and an offcut."""
    parts = tuple(
        Part(f"P{number}", length * MM, width * MM, quantity, "S235JR", 300)
        for number, (length, width, quantity) in enumerate(SIZES, 1)
    )
    stock = (
        StockItem("A", 250_000, 125_000, 20, "S235JR", 300, price=90.0),
        StockItem("B", 300_000, 150_000, 20, "S235JR", 300, price=128.5),
        StockItem("R", 120_000, 80_000, 2, "S235JR", 300, "offcut", "cut", 50, 10.0),
    )
    wishes = Options(objective=objective, effort="quick", **options)
    return Order("W-7", SHEAR, (material_named("S235JR"),), parts, stock, wishes)


def for_objective(order: Order, objective: Objective, **more: Any) -> Order:
    return replace(order, options=replace(order.options, objective=objective, **more))


def complaint(found: CutPlan, order: Order) -> str:
    document = json.loads(json.dumps(write_plan(found, order)))
    return "\n".join(f"{one.code} {one.where}: {one.message}" for one in verify(document).faults)


def test_strips_alone_are_tried_only_where_some_stock_can_be_cut_up_so() -> None:
    """Between mill edges strips are as long as the sheet less its trims: here anything more is kept."""
    cut = for_objective(worked(), worked().options.objective, offcut_min=(2000, 2000))
    mill = replace(cut, stock=tuple(replace(item, edges="mill") for item in cut.stock))
    seen: dict[str, list[Progress]] = {"cut": [], "mill": []}
    for name, order in (("cut", cut), ("mill", mill)):
        plan(replace(order, parts=order.parts[:2]), seen[name].append)
    assert seen["cut"][-1].of == seen["mill"][-1].of + 1
    strips = for_objective(mill, "material", max_stages=1)
    found = plan(strips)
    assert {one.code for one in found.unplaced} == {"too-many-stages"}
    assert "strips are as long as the sheet, less a trim at each end" in found.unplaced[0].reason


def priced(order: Order) -> bool:
    return all(item.price is not None for item in order.stock if item.quantity)


def material(found: CutPlan, order: Order) -> float:
    cost = found.summary.material_cost
    return cost if cost is not None and priced(order) else found.summary.stock_area_mm2


def missing(found: CutPlan, order: Order) -> int:
    area = {part.ref: part.length * part.width for part in order.parts}
    return sum(area[one.ref] * one.quantity for one in found.unplaced)


def check_comparison(order: Order) -> tuple[CutPlan, ...]:
    made = plans(for_objective(order, "compare"))
    assert 1 <= len(made) <= 5
    criteria = [
        (round(material(one, order), 6), round(one.summary.minutes, 1), handling_of(one.program).points)
        for one in made
    ]
    for place, figures_of_one in enumerate(criteria):
        for other in criteria[:place] + criteria[place + 1 :]:
            assert not all(a <= b for a, b in zip(other, figures_of_one, strict=True))
        for before in criteria[:place]:
            assert any(a < b and a <= 0.990001 * b for a, b in zip(figures_of_one, before, strict=True))
    assert criteria[0][0] == min(one[0] for one in criteria)
    assert [one.pick for one in made[0].alternatives] == list(range(1, len(made)))
    for told, one in zip(made[0].alternatives, made[1:], strict=True):
        assert (told.fingerprint, told.summary) == (one.fingerprint, one.summary)
        assert told.handling == handling_of(one.program).points
    return made


def check_bounds(made: tuple[CutPlan, ...], order: Order) -> None:
    """No plan lies below what another one, that places the same, says nothing can go below."""
    for one in made:
        for other in made:
            if one.unplaced == other.unplaced:
                used = other.summary.sheets + other.summary.offcuts_used
                assert one.bound.pieces <= used
                assert one.bound.area_mm2 <= other.summary.stock_area_mm2 + 1e-6
                if one.bound.cost is not None and other.summary.material_cost is not None:
                    assert one.bound.cost <= other.summary.material_cost + 1e-9


def test_no_plan_of_a_comparison_is_better_than_another_in_everything() -> None:
    once = worked()
    # Twice as many of each: of these orders the one plan is not the best in everything.
    order = replace(once, parts=tuple(replace(part, quantity=2 * part.quantity) for part in once.parts))
    made = check_comparison(order)
    assert len(made) > 1
    for pick, one in enumerate(made):
        answered = picked(order, pick)
        assert complaint(one, answered) == ""
        assert one.fingerprint == fingerprint(answered)
        assert read_plan(json.loads(json.dumps(write_plan(one, answered)))) == (one, answered)
        assert plan(answered) == one
    assert plans(order) == made


@settings(max_examples=25, deadline=None)
@given(small_orders())
def test_every_plan_of_a_comparison_passes_the_replay(order: Order) -> None:
    made = check_comparison(order)
    check_bounds(made, order)
    for pick, one in enumerate(made):
        assert complaint(one, picked(for_objective(order, "compare"), pick)) == ""


@settings(max_examples=25, deadline=None)
@given(small_orders(), st.sampled_from(["quick", "standard"]))
def test_no_objective_is_served_worse_than_by_the_plan_of_least_material(order: Order, effort: str) -> None:
    order = replace(order, options=replace(order.options, effort=effort))  # type: ignore[arg-type]
    least = plan(for_objective(order, "material"))
    handled = plan(for_objective(order, "handling"))
    assert missing(handled, order) <= missing(least, order)
    assert handling_of(handled.program).points <= handling_of(least.program).points
    quick = plan(for_objective(order, "time"))
    assert quick.summary.minutes <= least.summary.minutes
    assert complaint(handled, for_objective(order, "handling")) == ""
    if priced(order):
        cheap = plan(for_objective(order, "cost"))
        total = [one.summary.time_cost + (one.summary.material_cost or 0) for one in (cheap, least)]
        assert total[0] <= total[1] + 1e-9


def waiting(found: CutPlan) -> int:
    """The most stacks that lie about while a step is made, counted from the program alone."""
    lying: Counter[str] = Counter()
    most = 0
    for step in found.program:
        lying[step.piece] -= step.pieces
        most = max(most, sum(count > 0 for count in lying.values()))
        for one in (*step.drops, *step.remainders):
            if one.kind == "piece" and one.ref is not None:
                lying[one.ref] += one.count
    return most


@settings(max_examples=60, deadline=None)
@given(small_orders(), st.integers(1, 3), st.sampled_from(["material", "handling"]))
def test_no_more_stacks_wait_than_may(order: Order, limit: int, objective: Objective) -> None:
    asked = for_objective(order, objective, open_stacks=limit)
    found = plan(asked)
    assert waiting(found) <= limit
    assert complaint(found, asked) == ""
    free = plan(for_objective(order, "material", max_stages=min(order.options.max_stages, limit + 1)))
    assert missing(found, order) <= missing(free, order)


def test_a_limit_on_stacks_is_kept_where_the_free_plan_breaks_it() -> None:
    free, tight = plan(worked("material")), plan(worked("material", open_stacks=1))
    assert waiting(free) > 1 >= waiting(tight)


def test_the_replay_finds_a_stack_too_many() -> None:
    order = worked("material")
    document = json.loads(json.dumps(write_plan(plan(order), order)))
    document["order"]["options"]["open_stacks"] = 1
    assert "open-stacks" in {fault.code for fault in verify(document).faults}


def test_ending_the_search_gives_a_whole_plan_that_says_so() -> None:
    order = replace(worked(), options=Options(effort="thorough"))
    found = plan(order, stop=lambda: True)
    assert found.cut_short
    assert found.stopped_early
    assert [one.level for one in found.findings if one.code == "cut-short"] == ["caution"]
    assert found.fingerprint == fingerprint(order)
    assert found.unplaced == ()
    assert complaint(found, order) == ""


def test_watching_changes_nothing_and_tells_the_best_so_far() -> None:
    seen: list[Progress] = []
    order = worked("handling")
    assert plan(order, seen.append, lambda: False) == plan(order)
    assert [one.searches for one in seen] == sorted(one.searches for one in seen)
    assert seen[-1].searches <= seen[-1].of
    best = [one.best.handling for one in seen if one.best is not None]
    assert best == sorted(best, reverse=True)


def test_the_search_tells_what_it_has_come_to_before_a_plan_is_written() -> None:
    seen: list[Progress] = []
    found = plan(worked("material"), seen.append)
    early = [one.under_way for one in seen if one.best is None and one.under_way is not None]
    assert early
    costs = [one.cost for one in early if one.cost is not None and one.left_out == 0]
    assert costs == sorted(costs, reverse=True)
    assert float(costs[-1]) == found.summary.material_cost
    assert early[-1].sheets == found.summary.sheets
    assert early[-1].offcuts == found.summary.offcuts_used
    assert all(one.under_way is None for one in seen if one.best is not None)


def test_a_pick_beyond_the_comparison_is_refused() -> None:
    with pytest.raises(PickError, match="no plan 4"):
        plan(replace(worked(), parts=worked().parts[:1], options=Options("compare", "quick", pick=4)))


def test_the_least_cost_wants_prices() -> None:
    order = worked("cost")
    unpriced = replace(order, stock=(replace(order.stock[0], price=None), *order.stock[1:]))
    with pytest.raises(PriceError, match="'A' has none"):
        plan(unpriced)
    with pytest.raises(WireError) as told:
        read_order(write_order(unpriced), machine_named=lambda _: None)
    assert told.value.errors[0].pointer == "/options/objective"


def figures(material: int, minutes: float, handling: int, offcuts: int = 0) -> Figures:
    return Figures(0, Fraction(material), 1, 1, 100_000, offcuts, handling, minutes, minutes)


def test_among_equal_material_useful_offcuts_come_before_less_handling() -> None:
    useful, plain, sliver = (
        figures(10, 5.0, 50, 40_000),
        figures(10, 5.0, 40, 0),
        figures(10, 5.0, 45, 900),
    )
    assert sorted((sliver, plain, useful), key=lambda one: one.rank("material")) == [useful, plain, sliver]


def test_among_equal_material_a_hair_less_handling_is_not_worth_much_more_time() -> None:
    """208 points in 52 minutes and not 196 in 66; but 390 in 147 rather than 450 in 132."""
    brisk, handy = figures(10, 52.0, 208), figures(10, 65.9, 196)
    assert min((handy, brisk), key=lambda one: one.rank("material")) is brisk
    assert [(brisk, handy)[place] for place in undominated([brisk, handy])] == [brisk, handy]
    long, longer = figures(10, 132.0, 450), figures(10, 147.4, 390)
    assert min((long, longer), key=lambda one: one.rank("material")) is longer


def test_a_plan_that_nobody_could_tell_from_another_is_not_shown() -> None:
    """Less by 1 in 208 points or by 0.4 in 52 minutes are below a hundredth each."""
    one, like = figures(10, 52.0, 208), figures(10, 52.4, 207)
    assert undominated([like, one]) == (1,)
    assert undominated([figures(10, 52.02, 208), figures(10, 51.98, 209)]) == (0,)
    assert undominated([one, figures(10, 54.0, 200)]) == (1, 0)
    # What is free has nothing to be a hundredth of.
    assert undominated([figures(0, 52.0, 208), figures(0, 60.0, 180)]) == (1, 0)


@given(st.lists(st.tuples(st.integers(1, 5), st.integers(1, 5), st.integers(1, 5)), min_size=1, max_size=12))
def test_what_is_left_out_of_a_comparison_is_dominated_or_equal(given_: list[tuple[int, int, int]]) -> None:
    found = [figures(a, float(b), c) for a, b, c in given_]
    kept = undominated(found)
    for place, one in enumerate(found):
        beaten = any(dominates(other, one) for other in found)
        equal = any(found[other].criteria == one.criteria for other in kept)
        assert beaten != equal
        assert (place in kept) <= equal
    shown = to_show(found, priced=True)
    assert len(shown) <= 5
    assert shown[0] == kept[0]
    assert min(found[place].handling for place in shown) == min(one.handling for one in found)
    assert min(found[place].minutes for place in shown) == min(one.minutes for one in found)


@settings(max_examples=25, deadline=None)
@given(small_orders(), st.integers(1, 2))
def test_no_plan_lies_below_the_bound_of_another_with_few_open_stacks(order: Order, stacks: int) -> None:
    """The plan in few directions brought the bound of its own few directions, as if of any plan."""
    check_bounds(plans(for_objective(order, "compare", open_stacks=stacks)), order)


def bare(parts: tuple[tuple[int, int, int], ...], stock: tuple[StockItem, ...], **options: Any) -> Order:
    lines = tuple(Part(f"P{i}", a * MM, b * MM, n, "S235JR", 300) for i, (a, b, n) in enumerate(parts, 1))
    return Order("W-8", SHEAR, (material_named("S235JR"),), lines, stock, Options(effort="quick", **options))


def free(ref: str, length: int, width: int, quantity: int) -> StockItem:
    return StockItem(ref, length * MM, width * MM, quantity, "S235JR", 300, "offcut", "cut", 50, 0.0)


@pytest.mark.parametrize("objective", ["material", "handling", "time", "cost", "compare"])
def test_stock_that_is_all_free_is_planned_by_its_area(objective: Objective) -> None:
    order = bare(((500, 300, 4),), (free("R", 620, 420, 3),), objective=objective)
    found = plan(order)
    assert complaint(found, order) == ""
    # One of 500 × 300 from each piece, three pieces, and one part too many.
    assert [(one.code, one.quantity) for one in found.unplaced] == [("stock-exhausted", 1)]
    assert found.summary.offcuts_used == 3
    assert (found.summary.material_cost, found.bound.cost) == (0, 0)


@pytest.mark.parametrize("objective", ["material", "handling", "time", "cost", "compare"])
def test_free_stock_beside_stock_with_a_price(objective: Objective) -> None:
    sheet = StockItem("T", 300_000, 150_000, 5, "S235JR", 300, price=90.0)
    order = bare(((500, 300, 3),), (free("R", 600, 500, 1), sheet), objective=objective)
    assert complaint(plan(order), order) == ""


def test_of_free_pieces_as_few_are_taken_as_hold_the_parts() -> None:
    order = bare(((500, 300, 6), (400, 200, 6)), (free("F", 1560, 1060, 3),))
    assert plan(order).summary.offcuts_used == 1


def test_the_bound_on_cost_is_one_that_whole_pieces_can_come_to() -> None:
    """From 50 up, what sheets at 40 and at 100 can come to begins at 80; the plan for 80 is the best."""
    sheets = (
        StockItem("S", 300_000, 150_000, 9, "S235JR", 300, price=100.0),
        StockItem("T", 200_000, 100_000, 9, "S235JR", 300, price=40.0),
    )
    found = plan(bare(((980, 480, 5),), sheets))
    assert found.summary.material_cost == found.bound.cost == 80
    assert not found.stopped_early
