"""Parts of an order seen as kinds: equal blanks are one kind, whatever line of the order asks for them.

The effort of a search then depends on how many kinds there are and not on how many pieces.
Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from service.engine.order import Grain, Part
from service.engine.plan import Axis
from service.engine.quantities import Length
from service.engine.tolerance import aimed_size, allowed_deviation


@dataclass(frozen=True, slots=True)
class Variant:
    """A kind as it lies in the sheet. `rotated`: the part's length lies along y.

    `tol_x` and `tol_y` are the largest deviations ± its two sizes bear.
    """

    kind: int
    dx: Length
    dy: Length
    rotated: bool
    tol_x: Length
    tol_y: Length

    def along(self, axis: Axis) -> Length:
        """The size in the direction of `axis`."""
        return self.dx if axis == "x" else self.dy

    def tolerance(self, axis: Axis) -> Length:
        """The deviation that the size in the direction of `axis` bears."""
        return self.tol_x if axis == "x" else self.tol_y


@dataclass(frozen=True, slots=True)
class Kind:
    """Equal blanks: their size, the ways they may lie, and which lines want how many.

    `wanted` holds (reference, quantity, swapped) in the order of the parts; `swapped` tells that the
    line gives the two sides the other way round.
    """

    index: int
    length: Length
    width: Length
    variants: tuple[Variant, ...]
    wanted: tuple[tuple[str, int, bool], ...]
    value: float | None = None

    @property
    def area(self) -> int:
        """Area of one blank, in (0.01 mm)²."""
        return self.length * self.width

    @property
    def quantity(self) -> int:
        """Pieces wanted over all lines."""
        return sum(quantity for _, quantity, _ in self.wanted)

    @property
    def ref(self) -> str:
        """A reference that stands for the kind while layouts are searched."""
        return self.wanted[0][0]

    @property
    def swapped(self) -> bool:
        """Whether the line behind :attr:`ref` gives the two sides the other way round."""
        return self.wanted[0][2]


def kinds_of(parts: Iterable[Part]) -> tuple[Kind, ...]:
    """Gather parts into kinds, largest first; the order of the parts does not change the kinds.

    A part that may be turned is taken with its longer side as the length, so that 200 × 600 and
    600 × 200 are one kind when they bear the same deviations and have the same value. Sizes are those
    that are cut for (:func:`~service.engine.tolerance.aim_of`).
    """
    gathered: dict[tuple[int, int, Grain, int, int, float | None], list[tuple[str, int, bool]]] = {}
    for part in parts:
        if part.quantity <= 0:
            continue
        length, width = aimed_size(part)
        tol_l = allowed_deviation(part.tolerance, part.length)
        tol_w = allowed_deviation(part.tolerance, part.width)
        swapped = part.grain == "any" and (width, tol_w) > (length, tol_l)
        key = (
            (width, length, part.grain, tol_w, tol_l, part.value)
            if swapped
            else (length, width, part.grain, tol_l, tol_w, part.value)
        )
        gathered.setdefault(key, []).append((part.ref, part.quantity, swapped))
    order = sorted(gathered, key=lambda k: (-k[0] * k[1], -max(k[:2]), -k[0], k[2], k[3], k[4], -(k[5] or 0)))
    kinds: list[Kind] = []
    for index, key in enumerate(order):
        length, width, grain, tol_l, tol_w, value = key
        lengthwise = Variant(index, length, width, False, tol_l, tol_w)
        turned = Variant(index, width, length, True, tol_w, tol_l)
        if grain == "along":
            variants: tuple[Variant, ...] = (lengthwise,)
        elif grain == "across":
            variants = (turned,)
        elif length == width:
            variants = (lengthwise,)
        else:
            variants = (lengthwise, turned)
        kinds.append(Kind(index, length, width, variants, tuple(gathered[key]), value))
    return tuple(kinds)
