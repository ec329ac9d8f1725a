"""Layouts that are known by their sizes only, and what becomes of them when they are carried out.

Of the layouts that tables bring, a dive uses few; so they are taken into the linear programme as they
are, and carried out by the rules of the machine when one is fixed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.engine.layout.context import Context, Pattern
from service.engine.layout.grid import Shape, variants_in
from service.engine.layout.stock import StockType


@dataclass(frozen=True, slots=True)
class Sketch:
    """A layout for one type of stock and what it would give, not carried out yet."""

    stock: int
    shape: Shape
    use: tuple[tuple[int, int], ...]
    parts_area: int


def sketch(stock: StockType, shape: Shape, areas: Sequence[int]) -> Sketch:
    """A shape for that stock as a sketch; `areas` are those of the kinds."""
    uses = uses_of(shape)
    return Sketch(
        stock.index, shape, tuple(sorted(uses.items())), sum([areas[kind] * n for kind, n in uses.items()])
    )


def uses_of(shape: Shape) -> Counter[int]:
    """How many of each kind a shape holds."""
    return Counter(v.kind for v in variants_in(shape))


def carved(
    context: Context, stock: StockType, shape: Shape, uses: Mapping[int, int], demand: Sequence[int]
) -> Pattern | None:
    """The pattern that a shape makes, no more of a kind than is wanted, and nothing added."""
    caps = [min(n, uses.get(kind, 0)) for kind, n in enumerate(demand)]
    return context.carve(stock, shape, context.areas, caps)
