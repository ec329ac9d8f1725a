"""How pieces lie, and how they are turned from one cut to the next.

The operator stands in front, the blade and the back gauge are behind the piece:

* back gauge: the edge measured from lies at the back, against the gauge;
* front stop: the measured edge lies in front, against the stop, so the other end is at the back;
* marked line: the end that falls is at the back.

A cut turns nothing: what stays in front and what falls behind keep the way they lay. Pieces that are
taken up lying differently (some fell, some were held) are turned as far as the worst of them needs.
"""

from __future__ import annotations

from typing import TypeAlias

from service.engine.plan import Axis, Turn
from service.engine.program.groups import End, Link, Work

Lie: TypeAlias = tuple[Axis, End]
"""How a piece lies: the axis in depth, and the end of it that is at the back."""


def turn_between(before: Lie | None, after: Lie) -> Turn:
    """How a piece is turned; a sheet that comes from the rack (None) is laid down right.

    >>> turn_between(("y", "near"), ("x", "near")), turn_between(("x", "far"), ("x", "near"))
    ('quarter', 'half')
    """
    if before is None or before == after:
        return "none"
    return "quarter" if before[0] != after[0] else "half"


def makers_of(links: tuple[Link, ...]) -> dict[Work, list[int]]:
    """Places of the links that make the pieces of each work."""
    makers: dict[Work, list[int]] = {}
    for index, link in enumerate(links):
        for goes in (*link.drops, *link.remainders):
            if goes.work is not None:
                makers.setdefault(goes.work, []).append(index)
    return makers


def turns_of(links: tuple[Link, ...]) -> tuple[Turn, ...]:
    """How the pieces of each link are turned against how the cuts that made them left them."""
    makers = makers_of(links)
    lies = [(link.axis, link.end_at_back) for link in links]
    return tuple(
        _worst_turn([lies[maker] for maker in makers.get((link.group, link.place), ())], lies[index])
        for index, link in enumerate(links)
    )


def _worst_turn(lies: list[Lie], after: Lie) -> Turn:
    turns = {turn_between(before, after) for before in lies}
    if "quarter" in turns:
        return "quarter"
    return "half" if "half" in turns else "none"
