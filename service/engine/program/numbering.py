"""Layouts bear the numbers of the order in which their sheets are taken up.

The search finds layouts in an order of its own and the program takes their sheets in another. People
read the second: the first sheet from the rack is sheet 1.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from service.engine.plan import Layout, Outcome, Step


def by_use(layouts: Iterable[Layout], program: Iterable[Step]) -> tuple[tuple[Layout, ...], tuple[Step, ...]]:
    """The same layouts and steps, the layouts numbered from 1 by their first step.

    Those that no step cuts, as their sheets are parts as they are, come first. Names of pieces go by the
    new numbers.
    """
    steps = tuple(program)
    first: dict[int, int] = {}
    for step in steps:
        first.setdefault(step.layout, step.number)
    ordered = sorted(layouts, key=lambda layout: (first.get(layout.number, 0), layout.number))
    numbers = {layout.number: number for number, layout in enumerate(ordered, start=1)}
    return (
        tuple(replace(layout, number=numbers[layout.number]) for layout in ordered),
        tuple(_renumbered(step, numbers) for step in steps),
    )


def _renumbered(step: Step, numbers: Mapping[int, int]) -> Step:
    old, new = str(step.layout), str(numbers[step.layout])
    if old == new:
        return step

    def named(goes: tuple[Outcome, ...]) -> tuple[Outcome, ...]:
        return tuple(
            replace(one, ref=new + one.ref[len(old) :]) if one.kind == "piece" and one.ref else one
            for one in goes
        )

    return replace(
        step,
        layout=numbers[step.layout],
        piece=new + step.piece[len(old) :],
        drops=named(step.drops),
        remainders=named(step.remainders),
    )
