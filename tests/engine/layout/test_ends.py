"""Sheets with mill edges cut up in one direction: their ends are no direction of cutting."""

from __future__ import annotations

from dataclasses import replace

import pytest

from schemas.plans import write_plan
from service.engine.machine import Lifting, Machine
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.plan import CutPlan, Layout, Leaf, Split
from service.engine.planner import plan
from service.engine.verifier import verify

STEEL = material_named("S235JR")
SHEET = StockItem("S", 250_000, 125_000, 20, "S235JR", 200)
LONG = Part("A", 248_000, 10_000, 14, "S235JR", 200)
OTHER = Part("B", 248_000, 20_000, 7, "S235JR", 200)
SHORTER = Part("C", 240_000, 12_000, 5, "S235JR", 200)


def worth_of_one(machine: Machine, *parts: Part) -> tuple[float, float]:
    """What the parts that one sheet gives are worth, and the bound of that."""
    options = Options(effort="quick", max_stages=1, objective="value")
    order = Order("worth", machine, (STEEL,), parts, (replace(SHEET, quantity=1),), options)
    found = plan(order)
    left = {one.ref: one.quantity for one in found.unplaced}
    assert found.bound.value is not None
    worth = sum((part.quantity - left.get(part.ref, 0)) * (part.value or 0) for part in parts)
    return worth, found.bound.value


def strips(machine: Machine, *parts: Part) -> tuple[CutPlan, Order]:
    options = Options(effort="quick", max_stages=1)
    order = Order("strips", machine, (STEEL,), parts, (SHEET,), options)
    return plan(order), order


def of(layout: Layout) -> list[str]:
    """What lies along a sheet that is slit into strips, in whole millimetres."""
    assert isinstance(layout.tree, Split)
    assert layout.tree.axis == "x"
    return [
        f"{child.kind if isinstance(child, Leaf) else 'strips'} {child.dx // 100}"
        for child in layout.tree.children
    ]


@pytest.fixture
def stopped(bench: Machine, ideal: Machine) -> Machine:
    """The bench shear with stops in front, which keep the length of a strip."""
    return replace(bench, front_stops=ideal.front_stops, gauge_clears=True, lifting=Lifting(25, 50, 2000))


def test_strips_of_a_sheet_with_mill_edges_are_planned_in_one_direction(stopped: Machine) -> None:
    """14 of 100 and 7 of 200 mm in 1240 a sheet (1250 less two trims of 5): three sheets, by hand.

    The shorter strips take a fourth: to share a sheet with longer ones would be another direction.
    """
    found, order = strips(stopped, LONG, OTHER, SHORTER)
    assert not found.unplaced
    assert found.summary.sheets == 4
    assert verify(write_plan(found, order, "x")).faults == ()
    assert {tuple(of(layout)) for layout in found.layouts} == {
        ("trim 5", "strips 2480", "scrap 15"),
        ("trim 5", "strips 2400", "scrap 95"),
    }


def test_what_a_trim_takes_off_at_the_far_end_is_a_trim(stopped: Machine) -> None:
    found, order = strips(stopped, replace(LONG, length=249_000))
    assert {tuple(of(layout)) for layout in found.layouts} == {("trim 5", "strips 2490", "trim 5")}
    assert verify(write_plan(found, order, "x")).faults == ()


def test_an_end_off_which_strips_would_leave_what_the_rack_takes_is_a_direction(stopped: Machine) -> None:
    short = replace(LONG, length=200_000)
    found, _ = strips(stopped, short)
    assert [one.code for one in found.unplaced] == ["too-many-stages"]
    assert "strips are as long as the sheet, less a trim at each end" in found.unplaced[0].reason


def test_the_bound_of_strips_holds_where_they_are_shorter_than_what_the_trims_leave(
    stopped: Machine,
) -> None:
    found, _ = strips(stopped, SHORTER)
    assert found.bound.gap_pieces == 0
    assert found.summary.sheets == 1


def test_the_bound_of_worth_holds_where_strips_are_shorter_than_the_trims_leave(
    stopped: Machine,
) -> None:
    """Five of 120 mm worth 10 lie in one sheet; beside three of 100 worth 7 it would be another direction."""
    shorter, longer = replace(SHORTER, value=10.0), replace(LONG, quantity=3, value=7.0)
    assert worth_of_one(stopped, longer) == (21, 21)
    worth, bound = worth_of_one(stopped, shorter, longer)
    assert worth == 50
    assert bound >= 50


def test_to_the_replay_scrap_is_an_end_only_with_the_mill_edge_on_it(stopped: Machine) -> None:
    """Off a sheet with cut edges the same cut is a direction of its own, and the strips are the second."""
    found, order = strips(stopped, SHORTER)
    document = write_plan(found, order, "x")
    assert verify(document).faults == ()
    for item in document["order"]["stock"]:
        item["edges"] = "cut"
    assert "stages" in {fault.code for fault in verify(document).faults}
