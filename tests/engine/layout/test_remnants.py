"""What is left of the emptiest sheet: in one large piece, where the same parts leave one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.engine.layout.job import Job
from service.engine.layout.search import find_layouts
from service.engine.machine import FrontStops, Machine
from service.engine.order import Options, Part, StockItem
from service.engine.plan import leaves

SHEET = StockItem("S", 250_000, 125_000, 5, "S235JR", 200)


@pytest.mark.parametrize(
    ("rows", "largest"),
    [
        # Cut from the first 850 mm of the sheet's length: 1650 × 1250 mm are left.
        ([(570, 190, 2, "any"), (480, 190, 2, "any"), (880, 210, 3, "any")], 2.06),
        ([(800, 380, 3, "along"), (490, 360, 1, "along"), (530, 230, 2, "any")], 1.50),
    ],
)
def test_the_rest_of_a_sheet_that_is_not_full_is_left_in_one_piece(
    bench: Machine, rows: list[tuple[int, int, int, str]], largest: float
) -> None:
    """Areas in m²: without looking for it 1.85 and 1.21 m² were the largest."""
    parts = tuple(
        Part(f"P{i}", length * 100, width * 100, count, "S235JR", 200, grain)  # type: ignore[arg-type]
        for i, (length, width, count, grain) in enumerate(rows)
    )
    shear = replace(bench, front_stops=FrontStops(2000, 250_000, 30))
    found = find_layouts(Job(shear, parts, (SHEET,), Options(effort="quick"), 300_000))
    assert not found.unplaced
    (one,) = found.divisions
    assert one.repeat == 1
    offcuts = [leaf.dx * leaf.dy / 1e10 for leaf in leaves(one.tree) if leaf.kind == "offcut"]
    assert max(offcuts) >= largest
