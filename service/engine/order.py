"""What is wanted, what there is to cut it from, and how the plan shall be made.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final, Literal, TypeAlias

from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import Length

Grain: TypeAlias = Literal["any", "along", "across"]
StockKind: TypeAlias = Literal["sheet", "offcut"]
Edges: TypeAlias = Literal["mill", "cut"]
Effort: TypeAlias = Literal["quick", "standard", "thorough"]
Objective: TypeAlias = Literal["material", "handling", "time", "cost", "compare", "value"]
ToleranceClass: TypeAlias = Literal["f", "m", "c", "v"]


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Limits of a part's length and width: a class of ISO 2768-1, or the order's own ± limits.

    `minus` and `plus` are both numbers of 0 or more; when they are None the class rules.
    """

    tolerance_class: ToleranceClass = "m"
    minus: Length | None = None
    plus: Length | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """One line of an order: `quantity` equal rectangular blanks.

    `grain` says how `length` lies to the rolling direction of the sheet: ``along`` it, ``across``
    it, or ``any`` (the part may be turned). `value` is what one piece is worth where stock is to be
    filled with what is worth most; `quantity` then is the most that is wanted.
    """

    ref: str
    length: Length
    width: Length
    quantity: int
    material: str
    thickness: Length
    grain: Grain = "any"
    tolerance: Tolerance = field(default_factory=Tolerance)
    value: float | None = None


@dataclass(frozen=True, slots=True)
class StockItem:
    """Sheets or offcuts of one size; `length` runs along the rolling direction.

    `edges`: ``mill`` edges are trimmed before they may bound a part, ``cut`` edges are straight,
    square and can be gauged from. `oversize` is how much larger than its nominal size a piece may
    have been delivered (it is never smaller). `price` is for one piece, in the shop's money; see
    :func:`as_priced` for what counts where it is None.
    `tensile_strength` is what the inspection certificate of these very pieces says [N/mm²], and
    `certificate` by what it is known (:mod:`service.engine.certificates`).
    """

    ref: str
    length: Length
    width: Length
    quantity: int
    material: str
    thickness: Length
    kind: StockKind = "sheet"
    edges: Edges = "mill"
    oversize: Length = 2000
    price: float | None = None
    heat: str | None = None
    tensile_strength: float | None = None
    certificate: str | None = None


ANY_STAGES: Final = 40
"""From so many on the direction of cutting may change as often as it takes."""
MOST_STAGES: Final = 60


@dataclass(frozen=True, slots=True)
class Options:
    """How to plan.

    `trim` is what is cut off a mill edge at least; `offcut_min` the (larger, smaller) side from
    which a leftover is kept as an offcut; `max_stages` how often the direction of cutting may
    change, plus one (1: strips only, of stock with cut edges; from :data:`ANY_STAGES` on any number).
    `batch` runs each gauge setting over all identical sheets.

    `objective` says which plan is the best: of least ``material`` (its cost where every sheet has a
    price, else its area), least ``handling``, least ``time`` at the machine, or least ``cost`` of
    material and time together, or from the stock there is the parts that are together worth most
    (``value``: what is not worth its place is left out). ``compare`` asks for several plans none of
    which is better than another in everything; `pick` names one of them, 0 the one that is recommended.
    `open_stacks` is how many stacks of pieces may wait at the machine while a step is made; None: any
    number.
    """

    objective: Objective = "material"
    effort: Effort = "standard"
    max_stages: int = 3
    trim: Length = 500
    offcut_min: tuple[Length, Length] = (30000, 20000)
    batch: bool = True
    open_stacks: int | None = None
    pick: int = 0


@dataclass(frozen=True, slots=True)
class Order:
    """Everything a plan depends on. Materials are those that parts and stock name, and only those."""

    order_ref: str
    machine: Machine
    materials: tuple[Material, ...]
    parts: tuple[Part, ...]
    stock: tuple[StockItem, ...]
    options: Options = field(default_factory=Options)

    def material(self, grade: str) -> Material:
        """The material of that grade; KeyError when the order does not carry it."""
        for material in self.materials:
            if material.grade == grade:
                return material
        raise KeyError(grade)


def as_priced(stock: Iterable[StockItem]) -> tuple[StockItem, ...]:
    """The stock with the prices that count.

    An offcut without a price is paid for already: beside priced stock of its material and thickness it
    counts as nothing. A sheet has to be bought, so where a sheet without a price is among them, and
    where nothing has one, no price is known and what has none keeps none.
    """
    items = tuple(stock)
    priced: set[tuple[str, Length]] = set()
    unknown: set[tuple[str, Length]] = set()
    for item in items:
        if item.quantity > 0:
            if item.price is not None:
                priced.add((item.material, item.thickness))
            elif item.kind == "sheet":
                unknown.add((item.material, item.thickness))
    known = priced - unknown
    return tuple(
        replace(item, price=0.0)
        if item.price is None and item.kind == "offcut" and (item.material, item.thickness) in known
        else item
        for item in items
    )


def without_price(stock: Iterable[StockItem]) -> str | None:
    """A piece for which no price counts (:func:`as_priced`), a sheet before an offcut; None: all have one."""
    unknown = [one for one in as_priced(stock) if one.price is None and one.quantity > 0]
    unknown.sort(key=lambda one: one.kind != "sheet")
    return unknown[0].ref if unknown else None


def price_wanted(ref: str) -> str:
    """Why the least cost cannot be aimed at with that piece in stock."""
    return f"for the least cost the stock needs prices; {ref!r} has none"
