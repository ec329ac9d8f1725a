"""A program whose layouts take turns is printed in the order in which it is made."""

import re

from service.drawing.text import program_text
from service.engine.machine import BackGauge, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.planner import plan

SHEAR = Machine(
    "bench",
    "bench shear",
    310_000,
    Rating(600),
    Rake(1.5, 1.5),
    GapRange(5, 100),
    BackGauge(500, 100_000),
    HoldDown(4500),
    squaring_arm=300_000,
    lifting=Lifting(25, 50, 2000),
    sheet_support=True,
)
SIZES = ((600, 300, 5), (410, 230, 9), (655, 175, 7), (820, 440, 3), (390, 120, 8), (505, 340, 4))


def test_steps_are_printed_in_the_order_in_which_they_are_made() -> None:
    parts = tuple(
        Part(f"P{number}", length * 100, width * 100, quantity, "S235JR", 100)
        for number, (length, width, quantity) in enumerate(SIZES, 1)
    )
    stock = (StockItem("S", 150_000, 100_000, 20, "S235JR", 100),)
    order = Order("W", SHEAR, (material_named("S235JR"),), parts, stock, Options(effort="quick"))
    found = plan(order)
    layouts = [step.layout for step in found.program]
    assert layouts != sorted(layouts)
    text = program_text(found, order)
    printed = [int(number) for number in re.findall(r"^--- STEP (\d+) ---", text, re.MULTILINE)]
    assert printed == [step.number for step in found.program]
    # Each sheet comes from the rack once, and a piece never does.
    assert text.count("from the rack") == sum(step.piece.isdigit() for step in found.program)
