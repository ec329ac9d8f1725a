"""Where the cuts of a program lie on the sheet: the program replayed on its layout.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from service.engine.plan import Axis, Layout, Leaf, Node, Outcome, Split, Step
from service.engine.quantities import Length, show_mm

_PIECE: Final = re.compile(r"(?P<layout>\d+)(?:\.(?P<sheet>\d+))?(?P<letters>[a-z]*)")

_Live: TypeAlias = tuple[Split, int]
"""A piece still to be cut: its split, and the first child that is not yet separated."""


class DrawingError(ValueError):
    """Layout and program of a plan do not belong together; the message says where they part."""


@dataclass(frozen=True, slots=True)
class CutLine:
    """One cut on the sheet.

    `at` is its place along `axis`; it runs from `start` to `end` in the other direction. `room` is
    the depth of the item it separates, `first` tells the first cut of a run at one gauge setting.
    """

    step: int
    axis: Axis
    at: Length
    start: Length
    end: Length
    room: Length
    first: bool


def only(node: Node) -> Node:
    """The node itself, or what it consists of when it is a split with one child."""
    while isinstance(node, Split) and len(node.children) == 1:
        node = node.children[0]
    return node


def steps_of(layout: Layout, program: Sequence[Step]) -> tuple[tuple[Step, ...], bool]:
    """The steps that cut the first sheet of a layout, and whether they run over all its sheets.

    Raises
    ------
    DrawingError
        When a piece has a name that no program gives.
    """
    mine: list[Step] = []
    together = True
    for step in program:
        if step.layout != layout.number:
            continue
        name = _PIECE.fullmatch(step.piece)
        if name is None or int(name["layout"]) != layout.number:
            raise DrawingError(f"step {step.number}: {step.piece!r} is no piece of layout {layout.number}")
        if name["sheet"] is not None:
            together = False
        if name["sheet"] in {None, "1"}:
            mine.append(step)
    return tuple(mine), together


def cut_lines(layout: Layout, program: Sequence[Step]) -> tuple[CutLine, ...]:
    """Every cut of one sheet of a layout, in the order it is made.

    Parameters
    ----------
    layout
        A layout of the plan.
    program
        The plan's whole program.

    Raises
    ------
    DrawingError
        When the program does not cut this layout as it is drawn.
    """
    steps, together = steps_of(layout, program)
    batch = layout.repeat if together else 1
    live: dict[str, list[_Live]] = {}
    root = only(layout.tree)
    if isinstance(root, Split):
        live[str(layout.number) if together else f"{layout.number}.1"] = [(root, 0)]
    lines: list[CutLine] = []
    for step in steps:
        pieces = live.pop(step.piece, [])
        if len(pieces) * batch != step.pieces:
            raise DrawingError(
                f"step {step.number} takes up {step.pieces} of piece {step.piece}, "
                f"layout {layout.number} has {len(pieces) * batch} of it then"
            )
        for piece in pieces:
            lines.extend(_cut(step, piece, live))
    if live:
        left = ", ".join(live)
        raise DrawingError(f"layout {layout.number}: no step cuts piece {left} further")
    return tuple(lines)


def _cut(step: Step, piece: _Live, live: dict[str, list[_Live]]) -> list[CutLine]:
    node, start = piece
    end = start + step.repeat
    if node.axis != step.axis or end >= len(node.children):
        raise DrawingError(f"step {step.number} does not fit how piece {step.piece} is divided")
    lines = []
    for index in range(start, end):
        child = node.children[index]
        if node.axis == "x":
            size, at, low, high = child.dx, child.x + child.dx, child.y, child.y + child.dy
            rest = node.x + node.dx - at
        else:
            size, at, low, high = child.dy, child.y + child.dy, child.x, child.x + child.dx
            rest = node.y + node.dy - at
        measured = size if step.edge_end == "near" else rest
        if measured != step.gauge:
            raise DrawingError(
                f"step {step.number} gauges {show_mm(step.gauge)} mm, "
                f"the layout has {show_mm(measured)} mm there"
            )
        lines.append(CutLine(step.number, node.axis, at, low, high, size, index == start))
    item_falls = step.edge_end == "near" and step.measured == "drop"
    items, rests = (step.drops, step.remainders) if item_falls else (step.remainders, step.drops)
    _hand_on(step, [(only(child), 0) for child in node.children[start:end]], items, live)
    last = len(node.children) - 1
    _hand_on(step, [(only(node.children[last]), 0) if end == last else (node, end)], rests, live)
    return lines


def _hand_on(
    step: Step, cut: list[tuple[Node, int]], outcomes: tuple[Outcome, ...], live: dict[str, list[_Live]]
) -> None:
    """Give pieces that are cut further their names: those of `outcomes`, in the order of the sheet."""
    names = iter([outcome.ref for outcome in outcomes if outcome.kind == "piece"])
    known: dict[Any, str] = {}
    for node, start in cut:
        if isinstance(node, Leaf):
            continue
        shape = (_shape(node), start)
        if shape not in known:
            name = next(names, None)
            if name is None:
                raise DrawingError(f"step {step.number} names no piece for what is cut further")
            known[shape] = name
        live.setdefault(known[shape], []).append((node, start))


def _shape(node: Node) -> Any:
    """Equal for pieces that are divided alike, wherever they lie."""
    node = only(node)
    if isinstance(node, Leaf):
        return (node.kind, node.ref, node.dx, node.dy, node.rotated)
    return (node.axis, node.dx, node.dy, tuple(_shape(child) for child in node.children))
