"""What goes back to the rack keeps the edges and the doubtful size of the sheet it was part of."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.engine.layout.rack import RackState, offcut_state
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.plan import Layout, Leaf, Split

SHEAR = Machine(
    "m",
    "Bench",
    300_000,
    Rating(600),
    Rake(1.5, 1.5),
    GapRange(1, 100),
    BackGauge(500, 100_000),
    HoldDown(4500),
    sheet_support=True,
)
SHEET = StockItem("S", 250_000, 125_000, 1, "S235JR", 300, oversize=2000)
PART = Part("P1", 60_000, 30_000, 8, "S235JR", 300)


def order(item: StockItem, trim: int = 500) -> Order:
    steel = material_named("S235JR")
    return Order("W-1", SHEAR, (steel,), (PART,), (item,), Options(trim=trim))


def layout(*children: Leaf) -> Layout:
    """Strips along the sheet, one above the other."""
    tree = Split("y", 0, 0, 250_000, 125_000, children)
    return Layout(1, "S", "S235JR", 300, 1, tree)


TRIM = Leaf("trim", 0, 0, 250_000, 500)
STRIP = Leaf("scrap", 0, 500, 250_000, 60_000)
REST = Leaf("offcut", 0, 60_500, 250_000, 64_500)


def test_the_rest_of_a_sheet_keeps_its_mill_edges_and_its_true_size() -> None:
    # Trimmed with 5 mm off an edge that is not straight (±5), ±0.1 for each of two cuts, and the sheet
    # itself up to 20 mm over (EN 10051:1991, from memory): ±25.2 mm.
    found = offcut_state(order(SHEET), layout(TRIM, STRIP, REST), 250_000, 64_500)
    assert found == RackState("mill", 2000 + 500 + 2 * 10)


@pytest.mark.parametrize("trim", [0, 500])
def test_a_mill_edge_stays_one_also_where_this_plan_asks_for_no_trim(trim: int) -> None:
    found = offcut_state(
        order(SHEET, trim), layout(replace(REST, y=0), replace(STRIP, y=64_500)), 250_000, 64_500
    )
    assert found.edges == "mill"


def test_the_rest_of_a_piece_that_was_cut_all_round_has_cut_edges() -> None:
    item = replace(SHEET, kind="offcut", edges="cut", oversize=50)
    found = offcut_state(order(item), layout(TRIM, STRIP, REST), 250_000, 64_500)
    assert found == RackState("cut", 50 + 2 * 10)


def test_what_the_sag_of_a_drop_adds_is_missing_from_what_is_left() -> None:
    # 600 mm of 3 mm steel that nothing carries come out 0.06 mm too long: 4/7 · 7.918²/600 (beam tables).
    item = replace(SHEET, kind="offcut", edges="cut", oversize=50)
    bare = replace(order(item), machine=replace(SHEAR, sheet_support=False))
    found = offcut_state(bare, layout(TRIM, STRIP, REST), 250_000, 64_500)
    assert found == RackState("cut", 50 + 2 * 10 + 6)


def test_the_worst_of_equal_offcuts_speaks_for_all_of_them() -> None:
    gauged, last = replace(REST, y=500, dy=62_250), replace(REST, y=62_750, dy=62_250)
    found = offcut_state(order(SHEET), layout(TRIM, gauged, last), 250_000, 62_250)
    assert found == RackState("mill", 2000 + 500 + 2 * 10)


def test_of_a_layout_that_cannot_be_cut_by_these_rules_the_sheet_is_all_that_is_known() -> None:
    beyond = replace(SHEAR, cutting_length=200_000)
    found = offcut_state(replace(order(SHEET), machine=beyond), layout(TRIM, STRIP, REST), 250_000, 64_500)
    assert found == RackState("mill", 2500)
