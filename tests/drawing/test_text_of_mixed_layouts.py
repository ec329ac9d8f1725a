"""A program whose layouts take turns is printed in the order in which it is made."""

import re
from dataclasses import replace

from service.drawing.text import program_text
from service.engine.machine import BackGauge, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.plan import CutPlan
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


def made() -> tuple[CutPlan, Order]:
    parts = tuple(
        Part(f"P{number}", length * 100, width * 100, quantity, "S235JR", 100)
        for number, (length, width, quantity) in enumerate(SIZES, 1)
    )
    stock = (StockItem("S", 150_000, 100_000, 20, "S235JR", 100),)
    order = Order("W", SHEAR, (material_named("S235JR"),), parts, stock, Options(effort="quick"))
    return plan(order), order


def test_steps_are_printed_in_the_order_in_which_they_are_made() -> None:
    found, order = made()
    layouts = [step.layout for step in found.program]
    assert layouts != sorted(layouts)
    text = program_text(found, order)
    printed = [int(number) for number in re.findall(r"^--- STEP (\d+) ---", text, re.MULTILINE)]
    assert printed == [step.number for step in found.program]
    # Each sheet comes from the rack once, and a piece never does.
    assert text.count("from the rack") == sum(step.piece.isdigit() for step in found.program)


def test_pieces_that_wait_past_several_steps_are_to_bear_their_names() -> None:
    found, order = made()
    taken = {step.piece: step.number for step in found.program}
    waits = {
        (step.number, out.ref, taken[out.ref])
        for step in found.program
        for out in (*step.drops, *step.remainders)
        if out.kind == "piece" and out.ref is not None and taken[out.ref] > step.number + 2
    }
    assert waits
    text = " ".join(program_text(found, order).split())
    steps = re.split(r"--- STEP (\d+) ---", text)
    told = {
        (int(number), name, int(until))
        for number, body in zip(steps[1::2], steps[2::2], strict=True)
        for line in re.findall(r"write on what waits past two or more steps: ([^;]*?) falls", body)
        for name, until in re.findall(r"(\S+) \(until step (\d+)\)", line)
    }
    assert told == waits


def test_the_most_stacks_that_wait_are_told_and_are_what_a_limit_limits() -> None:
    found, order = made()
    most = found.summary.most_waiting
    assert most is not None
    assert most > 1
    assert f"at most {most} stacks of pieces wait at once" in " ".join(program_text(found, order).split())
    # Counted anew: what was made before a step and is taken up after it.
    taken = {step.piece: step.number for step in found.program}
    made_at: dict[str, int] = {}
    for step in found.program:
        for out in (*step.drops, *step.remainders):
            if out.kind == "piece" and out.ref is not None:
                made_at.setdefault(out.ref, step.number)
    waiting = [sum(made_at[name] < step.number < taken[name] for name in made_at) for step in found.program]
    assert most == max(waiting)
    limited = replace(order, options=replace(order.options, open_stacks=most - 1))
    less = plan(limited).summary.most_waiting
    assert less is not None
    assert less < most


def test_layouts_stand_in_the_order_in_which_they_are_begun() -> None:
    found, order = made()
    others = {one.number: len(found.layouts) + 1 - one.number for one in found.layouts}
    assert len(others) > 1
    turned = replace(
        found,
        layouts=tuple(replace(one, number=others[one.number]) for one in reversed(found.layouts)),
        program=tuple(replace(one, layout=others[one.layout]) for one in found.program),
    )
    begun = list(dict.fromkeys(one.layout for one in turned.program))
    assert begun != sorted(begun)
    told = re.findall(r"^LAYOUT (\d+)", program_text(turned, order), re.MULTILINE)
    assert [int(one) for one in told] == begun
