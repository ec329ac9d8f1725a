"""Layouts are numbered as their sheets are taken up, and pieces are called after them."""

from __future__ import annotations

from dataclasses import replace

from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import Options, Part, StockItem
from service.engine.plan import Layout, Step
from service.engine.program.numbering import by_use
from service.engine.quantities import mm
from tests.engine.program.test_write import LOOSE, leaf, split
from tests.engine.program.written import write_program

STOCK = {"S": StockItem("S", mm(1000), mm(500), 9, "S235JR", mm(3), edges="cut", oversize=0)}
PARTS = {"A": Part("A", mm(600), mm(500), 1, "S235JR", mm(3), tolerance=LOOSE)}
UNCUT = Layout(2, "S", "S235JR", mm(3), 1, leaf("part", 0, 0, 1000, 500, "B"))


def _cut(number: int) -> Layout:
    tree = split("x", leaf("part", 0, 0, 600, 500, "A"), leaf("offcut", 600, 0, 400, 500))
    return Layout(number, "S", "S235JR", mm(3), 1, tree)


def _program(shear: Machine, steel: Material, number: int, first: int) -> tuple[Step, ...]:
    steps = write_program(shear, steel, (_cut(number),), PARTS, STOCK, Options(), shear.cutting_length)
    return tuple(replace(step, number=step.number + first - 1) for step in steps)


def test_what_is_taken_up_first_is_layout_one_after_what_is_not_cut_at_all(
    shear: Machine, steel: Material
) -> None:
    late, early = _program(shear, steel, 1, 2), _program(shear, steel, 13, 1)
    layouts, program = by_use((_cut(1), UNCUT, _cut(13)), (*early, *late))
    assert layouts == (replace(UNCUT, number=1), _cut(2), _cut(3))
    assert [(step.number, step.layout, step.piece) for step in program] == [(1, 2, "2"), (2, 3, "3")]


def test_pieces_are_called_after_the_new_number_and_parts_keep_their_name(
    shear: Machine, steel: Material
) -> None:
    tree = split(
        "y",
        split("x", leaf("part", 0, 0, 600, 250, "7"), leaf("offcut", 600, 0, 400, 250)),
        leaf("offcut", 0, 250, 1000, 250),
    )
    part = {"7": replace(PARTS["A"], ref="7", width=mm(250))}
    layout = Layout(7, "S", "S235JR", mm(3), 1, tree)
    steps = write_program(shear, steel, (layout,), part, STOCK, Options(), shear.cutting_length)
    assert {step.piece for step in steps} == {"7", "7a"}
    layouts, program = by_use((layout,), steps)
    assert layouts == (replace(layout, number=1),)
    assert {step.piece for step in program} == {"1", "1a"}
    refs = {(out.kind, out.ref) for step in program for out in (*step.drops, *step.remainders) if out.ref}
    assert refs == {("piece", "1a"), ("part", "7")}
