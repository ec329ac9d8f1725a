"""Columns deeper than the back gauge goes: stops measure them, so equal parts in them need a drop more."""

from __future__ import annotations

from dataclasses import replace

from service.engine.layout.context import Context
from service.engine.layout.job import Job
from service.engine.layout.search import find_layouts
from service.engine.machine import FrontStops, Machine
from service.engine.order import Options, Part, StockItem

SHEET = StockItem("S", 250_000, 125_000, 50, "S235JR", 200)


def job(bench: Machine, *rows: tuple[int, int, int, str]) -> Job:
    """The bench shear, which gauges 1000 mm, with stops in front that keep ±0.3 mm."""
    shear = replace(bench, front_stops=FrontStops(2000, 250_000, 30))
    parts = tuple(
        Part(f"P{i}", length * 100, width * 100, count, "S235JR", 200, grain)  # type: ignore[arg-type]
        for i, (length, width, count, grain) in enumerate(rows)
    )
    return Job(shear, parts, (SHEET,), Options(), 300_000)


def test_four_of_300_fit_a_column_of_1200_with_a_drop_at_its_end(bench: Machine) -> None:
    """300 mm, class m: ±0.5 mm (ISO 2768-1:1989, table 1).

    The column is 1200 ± 0.3 by the stops. A fourth part as what is left bears three cuts of ± 0.1 more:
    ± 0.6. With a drop beyond it, it is measured like the others.
    """
    asked = job(bench, (1200, 200, 4, "along"), (1200, 200, 4, "across"), (300, 300, 8, "any"))
    context = Context(asked)
    values = [3 * area if area > 30_000**2 else area for area in context.areas]
    pattern = context.build(context.types[0], "x", values, context.demand)
    assert pattern is not None
    assert sum(n for _, n in pattern.use) == 16


def test_two_grains_on_one_sheet_take_no_sheet_more_than_they_must(bench: Machine) -> None:
    """5.52 m² of parts; by hand: 6 and 6 of the long ones on one sheet, the rest on another."""
    asked = job(bench, (1200, 200, 10, "along"), (1200, 200, 10, "across"), (300, 300, 8, "any"))
    found = find_layouts(asked)
    assert not found.unplaced
    assert sum(one.repeat for one in found.divisions) == 2
