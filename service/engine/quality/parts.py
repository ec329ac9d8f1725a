"""The quality of a plan: for each part and dimension its accuracy, tolerance and chance to be inside.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.order import Order, Part
from service.engine.plan import Axis, Layout, Outcome, PartQuality, Step
from service.engine.quality.errors import ERROR_MODEL, chance_inside, of_many
from service.engine.quality.narrow import narrow_finding
from service.engine.quality.stackup import Bounded, bounded_parts
from service.engine.quantities import Length, show_mm
from service.engine.tolerance import aim_of, aimed_limits, limits_of

LIKELY: Final = 0.95
"""Chance of being inside the limits below which a caution is given: a shop default."""

_SAG_BASIS: Final = "cantilever under its own weight; pull-back 4/7 of the squared sag over the depth"

FEW: Final = 0.5
"""Parts expected outside from which a batch is worth measuring, however good each part: a shop default."""

WORTH_TELLING: Final = 10
"""Length gained by sag is told from this part of the tolerance: a tenth, a shop default."""

Dimension: TypeAlias = Literal["length", "width"]
_DIMENSIONS: Final[tuple[Dimension, Dimension]] = ("length", "width")


@dataclass(frozen=True, slots=True)
class _Made:
    """Parts that are bounded alike, how many, and the largest rake at which they fall, if they do."""

    bounded: Bounded
    count: int
    rake: float


def part_quality(order: Order, layouts: Iterable[Layout], program: Sequence[Step]) -> tuple[PartQuality, ...]:
    """How near to size every part comes out that these layouts place.

    Parameters
    ----------
    order
        Parts, stock and machine.
    layouts, program
        Of the plan; the rake is that of the steps that cut a part off.

    Returns
    -------
    Two entries a part, length and width, in the order of the order.
    """
    found: dict[tuple[str, Dimension], list[_Made]] = {}
    stock = {item.ref: item for item in order.stock}
    parts = {part.ref: part for part in order.parts}
    rakes = _rakes(program)
    for layout in layouts:
        material = order.material(layout.material)
        bounded = bounded_parts(
            order.machine, material, layout, stock[layout.stock_ref], parts, order.options.trim
        )
        for one, count in bounded.items():
            lies_along = (one.axis == "x") != one.rotated
            key = (one.ref, _DIMENSIONS[0] if lies_along else _DIMENSIONS[1])
            rake = rakes[layout.number, one.ref, one.axis, one.size] if one.side.fell else 0.0
            found.setdefault(key, []).append(_Made(one, count, rake))
    return tuple(
        _quality(order.machine, part, dimension, found[part.ref, dimension])
        for part in order.parts
        for dimension in _DIMENSIONS
        if (part.ref, dimension) in found
    )


_Fall: TypeAlias = tuple[int, str, Axis, Length]
"""A layout, a part of it, the direction in which it is cut off, and how deep what falls is."""


def _rakes(program: Sequence[Step]) -> dict[_Fall, float]:
    """The largest rake at which a part falls, by itself or within a piece that is cut up later [degrees]."""
    inside: dict[str, set[str]] = {}
    rakes: dict[_Fall, float] = {}
    for step in reversed(program):
        for out in (*step.drops, *step.remainders):
            inside.setdefault(step.piece, set()).update(_parts_in(out, inside))
        for out in step.drops:
            for ref in _parts_in(out, inside):
                fall = (step.layout, ref, step.axis, step.fall_depth)
                rakes[fall] = max(step.settings.rake_deg, rakes.get(fall, 0.0))
    return rakes


def _parts_in(out: Outcome, inside: Mapping[str, set[str]]) -> set[str]:
    if out.ref is None:
        return set()
    return {out.ref} if out.kind == "part" else inside[out.ref]


def _quality(machine: Machine, part: Part, dimension: Dimension, found: list[_Made]) -> PartQuality:
    size = part.length if dimension == "length" else part.width
    minus, plus = limits_of(part.tolerance, size)
    under, over = aimed_limits(part.tolerance, size)
    worst = max(found, key=lambda one: one.bounded.spread).bounded
    chances = {
        errors: chance_inside(errors, under, over)
        for errors in dict.fromkeys(one.bounded.side.errors for one in found)
    }
    inside = min(chances.values())
    outside, all_inside = of_many((chances[one.bounded.side.errors], one.count) for one in found)
    count = sum(one.count for one in found)
    said = [
        *_sag(found, min(under, over)),
        *_chance(count, inside, outside, all_inside),
        *(
            narrow_finding(part.thickness, one.bounded.size, one.rake)
            for one in found
            if one.bounded.side.fell
        ),
    ]
    return PartQuality(
        ref=part.ref,
        dimension=dimension,
        size=size,
        aim=aim_of(part.tolerance, size),
        gauged=worst.side.gauged,
        accuracy=worst.spread,
        minus=minus,
        plus=plus,
        inside=inside,
        count=count,
        outside=outside,
        all_inside=all_inside,
        findings=tuple(dict.fromkeys(one for one in said if one is not None)),
    )


def _sag(found: Iterable[_Made], allowed: Length) -> Iterator[Finding]:
    gained = max((one.bounded.side.gained for one in found), key=abs, default=0)
    off = "long" if gained > 0 else "short"
    if abs(gained) * WORTH_TELLING > allowed:
        yield Finding(
            "note",
            "sag-length",
            f"the drop sags and is cut about {show_mm(abs(gained))} mm too {off}: "
            "carry it, or set the gauge by a measured piece",
            _SAG_BASIS,
        )


def _chance(count: int, inside: float, outside: float, all_inside: float) -> Iterator[Finding]:
    if inside >= LIKELY and outside < FEW:
        return
    words = f"the chance of each to lie inside the tolerance is {100 * inside:.1f} %"
    if count > 1:
        words = (
            f"{words} where it is worst placed; of {count} about {_few(outside)} lie outside, and the chance "
            f"that all are inside is {100 * all_inside:.1f} %"
        )
    yield Finding("caution", "tolerance-doubtful", f"{words}: measure {_each(count)}", ERROR_MODEL)


def _few(number: float) -> str:
    return f"{number:.0f}" if number >= 9.5 else f"{number:.1f}"


def _each(count: int) -> str:
    return "it" if count == 1 else "each of them"


def tolerance_text(minus: Length, plus: Length) -> str:
    """Limits as people write them.

    >>> tolerance_text(80, 80), tolerance_text(0, 50)
    ('±0.8', '−0 +0.5')
    """
    return f"±{show_mm(plus)}" if minus == plus else f"−{show_mm(minus)} +{show_mm(plus)}"
