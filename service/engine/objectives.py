"""What a plan is judged by, and which of several plans are worth showing.

*Handling* is counted in points, a shop default without a published source: 3 for each gauge setting,
3 for each step before which pieces are turned, 1 for each stroke, and 1 for each distinct gauge value,
since every value must be read, set and kept in mind.

Where plans use the same material, the one that takes less from the rack comes first, then the one with
the more useful offcuts (:mod:`~service.engine.offcut_value`, by hundredths of the stock used: less is
not worth another turn), then the one with the least handling times minutes: a tenth less handling may
take up to a tenth more time, and no hair less is worth an hour.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from fractions import Fraction
from typing import Final

from service.engine.layout.job import Division
from service.engine.order import Objective, Part
from service.engine.plan import Layout, Step, leaves

MOVE_POINTS: Final = 3
TURN_POINTS: Final = 3
MOST_COMPARED: Final = 5
"""Plans shown for a comparison."""

_AXES: Final[tuple[Objective, ...]] = ("material", "handling", "time", "cost")
"""By what a plan can be the best; cost only where all stock has a price."""


@dataclass(frozen=True, slots=True)
class Handling:
    """Counts that tire people: gauge settings, turns, strokes, and distinct gauge values."""

    gauge_moves: int
    turns: int
    strokes: int
    gauge_values: int

    @property
    def points(self) -> int:
        """All of them, weighted.

        >>> Handling(gauge_moves=4, turns=1, strokes=8, gauge_values=3).points
        26
        """
        moves = MOVE_POINTS * self.gauge_moves + TURN_POINTS * self.turns
        return moves + self.strokes + self.gauge_values


def handling_of(program: Iterable[Step]) -> Handling:
    """Handling of a program, its first gauge setting included."""
    steps = tuple(program)
    values = [(step.gauging, step.gauge) for step in steps]
    return Handling(
        gauge_moves=sum(not at or value != values[at - 1] for at, value in enumerate(values)),
        turns=sum(step.turn != "none" for step in steps),
        strokes=sum(step.strokes for step in steps),
        gauge_values=len(set(values)),
    )


def worth_of(layouts: Iterable[Layout | Division], parts: Iterable[Part]) -> Fraction:
    """What the parts that layouts give are worth, each at its value as it is written; exact."""
    made: Counter[str | None] = Counter()
    for layout in layouts:
        for leaf in leaves(layout.tree):
            if leaf.kind == "part":
                made[leaf.ref] += layout.repeat
    each = {part.ref: Fraction(str(part.value or 0)) for part in parts}
    return sum((each[part] * made[part] for part in each), Fraction(0))


@dataclass(frozen=True, slots=True)
class Figures:
    """A plan as far as it is judged.

    Attributes
    ----------
    unplaced
        Area of the parts that found no place [(0.01 mm)²].
    material
        Cost of the stock used where all stock has a price, else its area [mm²]; exact.
    sheets, pieces
        Sheets used, and pieces of stock with the offcuts from the rack.
    stock_area, offcuts
        Area of the stock used, and useful area of the offcuts it leaves [(0.01 mm)²].
    handling
        Points.
    minutes, time_cost
        By the time model.
    worth
        Of the parts that are made; exact. It decides only where the parts worth most are wanted.
    """

    unplaced: int
    material: Fraction
    sheets: int
    pieces: int
    stock_area: int
    offcuts: int
    handling: int
    minutes: float
    time_cost: float
    worth: Fraction = Fraction(0)

    @property
    def criteria(self) -> tuple[Fraction, Fraction, Fraction]:
        """What plans are compared by, as people read it: material, time, handling; less is better in each."""
        return self.material, Fraction(round(10 * self.minutes), 10), Fraction(self.handling)

    def rank(self, objective: Objective) -> tuple[Fraction | float | int, ...]:
        """Less is better; what is not placed comes first, unless the parts worth most are chosen."""
        useful = -(100 * self.offcuts // self.stock_area) if self.stock_area else 0
        by_material = (
            self.material,
            self.sheets,
            self.stock_area,
            useful,
            self.handling * round(10 * self.minutes),
            self.handling,
            -self.offcuts,
        )
        first: tuple[Fraction | float | int, ...] = ()
        if objective == "handling":
            first = (self.handling,)
        elif objective == "time":
            first = (self.minutes,)
        elif objective == "cost":
            first = (float(self.material) + self.time_cost,)
        if objective == "value":
            return (-self.worth, self.unplaced, *by_material)
        return (self.unplaced, *first, *by_material)


def together(one: Figures, other: Figures) -> Figures:
    """Figures of two plans that are carried out one after the other."""
    return Figures(
        *(getattr(one, name) + getattr(other, name) for name in (field.name for field in fields(Figures)))
    )


NOTHING: Final = Figures(0, Fraction(0), 0, 0, 0, 0, 0, 0.0, 0.0)
"""Figures of a plan that does nothing."""


def dominates(one: Figures, other: Figures) -> bool:
    """Whether one plan is no worse in any criterion and better in one."""
    no_worse = all(a <= b for a, b in zip(one.criteria, other.criteria, strict=True))
    return no_worse and one.criteria != other.criteria


def stands_out(one: Figures, other: Figures) -> bool:
    """Whether one plan is better than the other by a hundredth in a criterion: nobody would notice less."""
    return any(a < b and 100 * a <= 99 * b for a, b in zip(one.criteria, other.criteria, strict=True))


def undominated(found: Sequence[Figures]) -> tuple[int, ...]:
    """Places of the plans that no other one dominates, those of least material first.

    Only plans that leave out as little as any, and of plans of which none stands out the one of better
    rank.
    """
    if not found:
        return ()
    least = min(one.unplaced for one in found)
    order = sorted(
        (place for place, one in enumerate(found) if one.unplaced == least),
        key=lambda place: (found[place].rank("material"), place),
    )
    kept: list[int] = []
    for place in order:
        one = found[place]
        apart = all(stands_out(one, found[other]) for other in kept)
        if apart and not any(dominates(found[other], one) for other in order):
            kept.append(place)
    return tuple(kept)


def reasonable(found: Sequence[Figures]) -> tuple[int, ...]:
    """Places of the plans that do not waste material: a quarter above the least, or one sheet more.

    A shop default. Without it the least handling would often be a sheet for every line of the order.
    """
    if not found:
        return ()
    least = min(found, key=lambda one: one.rank("material"))
    return tuple(
        place
        for place, one in enumerate(found)
        if one.unplaced == least.unplaced
        and (4 * one.material <= 5 * least.material or one.pieces <= least.pieces + 1)
    )


def to_show(found: Sequence[Figures], priced: bool) -> tuple[int, ...]:
    """At most five of the undominated plans: that of least material, then those best in another way.

    Parameters
    ----------
    found
        All plans.
    priced
        Whether material is counted in money, so that it may be added to the cost of time.
    """
    kept = undominated(found)
    if not kept:
        return ()
    shown = [kept[0]]
    for objective in _AXES[1:] if priced else _AXES[1:-1]:
        shown.append(min(kept, key=lambda place: (found[place].rank(objective), place)))
    shown = list(dict.fromkeys([*shown, *kept]))[:MOST_COMPARED]
    return tuple(place for place in kept if place in shown)


def best_at(found: Sequence[Figures], place: int, priced: bool) -> tuple[Objective, ...]:
    """The objectives by which no plan of these is better than the one at that place."""

    def first(one: Figures, objective: Objective) -> Fraction | float | int:
        return one.material if objective == "material" else one.rank(objective)[1]

    return tuple(
        objective
        for objective in (_AXES if priced else _AXES[:-1])
        if first(found[place], objective) == min(first(one, objective) for one in found)
    )
