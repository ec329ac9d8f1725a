"""What a piece is divided into: strips, slots and stacks; and what is wished for.

Lengths are whole hundredths of a millimetre, values whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from service.engine.layout.kinds import Variant
from service.engine.layout.rules import NO_LIMIT
from service.engine.plan import Axis
from service.engine.quantities import Length

OTHER: Final[dict[Axis, Axis]] = {"x": "y", "y": "x"}


class Slot(NamedTuple):
    """A stack of parts of one breadth; a single part as deep as the strip needs no further cut.

    A tuple, as tens of thousands are made and weighed for one plan.
    """

    breadth: Length
    stack: tuple[Variant, ...]
    value: int
    use: tuple[tuple[int, int], ...]

    @staticmethod
    def of(breadth: Length, stack: tuple[Variant, ...], value: int) -> Slot:
        """A slot that holds that stack."""
        counts: dict[int, int] = {}
        for variant in stack:
            counts[variant.kind] = counts.get(variant.kind, 0) + 1
        return Slot(breadth, stack, value, tuple(sorted(counts.items())))

    @property
    def density(self) -> int:
        """Value for its breadth, scaled."""
        return self.value * 4096 // self.breadth


@dataclass(frozen=True, slots=True)
class Strip:
    """Slots side by side in a strip of one depth: (slot, how many)."""

    depth: Length
    slots: tuple[tuple[Slot, int], ...]
    value: int
    use: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Grain:
    """How finely a search looks: cells of the knapsacks, and how many strip depths are tried well."""

    strip_cells: int = 96
    sheet_cells: int = 256
    depths: int = 8


@dataclass(slots=True)
class Wish:
    """What a piece is to be filled with: the worth of each kind, and the pieces of it still wanted.

    `caps` is lowered as parts are placed. With a `lead`, the first level is one strip of that depth,
    and all that lies beyond it is cut the other way. `sheets` tells that the piece is a sheet, and that
    others may be filled by the same wish.
    """

    values: Sequence[int]
    caps: list[int]
    grain: Grain
    lead: Length | None = None
    sheets: bool = False


def slot_tolerance(slot: Slot, across: Axis) -> Length:
    """The deviation the slot's breadth bears: the finest of its parts."""
    if len(slot.use) == 1:
        return slot.stack[0].tolerance(across)
    return min([v.tolerance(across) for v in slot.stack])


def strip_tolerance(strip: Strip, axis: Axis) -> Length:
    """The deviation the strip's depth bears: that of the parts as deep as the strip."""
    finest = NO_LIMIT
    for slot, _ in strip.slots:
        first = slot.stack[0]
        if len(slot.stack) == 1 and first.along(axis) == strip.depth:
            finest = min(finest, first.tolerance(axis))
    return finest
