"""The question put to the search for layouts, and its answer."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from service.engine.machine import Machine
from service.engine.order import Options, Part, StockItem
from service.engine.plan import Bound, Node, Unplaced
from service.engine.quantities import Length


@dataclass(frozen=True, slots=True)
class Job:
    """Parts and stock of one material and one thickness.

    `longest` is the longest cut the machine has the force for, at most its cutting length. `most` is what
    the stock used may cost for the layouts to be of use (where a piece has no price, its area [mm²]): a
    search that sees that it will not come down to it ends. None: anything is of use.
    """

    machine: Machine
    parts: tuple[Part, ...]
    stock: tuple[StockItem, ...]
    options: Options
    longest: Length
    most: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Division:
    """A layout tree and how many pieces of one stock item are divided by it."""

    stock_ref: str
    repeat: int
    tree: Node


@dataclass(frozen=True, slots=True)
class SoFar:
    """What a search that goes on has come to: stock taken, its cost (None: no prices), pieces left out."""

    sheets: int
    offcuts: int
    cost: Fraction | None
    left_out: int


@dataclass(frozen=True, slots=True)
class Found:
    """The answer: layouts that the machine can cut, what found no place and why, and the bound.

    `effort_used` counts search steps; `stopped_early` tells that the ceiling of steps cut it short.
    """

    divisions: tuple[Division, ...]
    unplaced: tuple[Unplaced, ...]
    bound: Bound
    effort_used: int
    stopped_early: bool
