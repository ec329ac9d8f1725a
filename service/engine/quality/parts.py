"""The quality of a plan: for each part and dimension its accuracy, tolerance and chance to be inside.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, Literal, TypeAlias

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.order import Order, Part
from service.engine.plan import Layout, PartQuality, Step
from service.engine.quality.errors import ERROR_MODEL, Errors, chance_inside
from service.engine.quality.narrow import narrow_finding
from service.engine.quality.stackup import Bounded, bounded_parts
from service.engine.quantities import Length, show_mm
from service.engine.tolerance import aim_of, aimed_limits, limits_of

LIKELY: Final = 0.95
"""Chance of being inside the limits below which a caution is given: a shop default."""

_SAG_BASIS: Final = "cantilever under its own weight; pull-back 4/7 of the squared sag over the depth"

Dimension: TypeAlias = Literal["length", "width"]
_DIMENSIONS: Final[tuple[Dimension, Dimension]] = ("length", "width")


def part_quality(order: Order, layouts: Iterable[Layout], program: Sequence[Step]) -> tuple[PartQuality, ...]:
    """How near to size every part comes out that these layouts place.

    Parameters
    ----------
    order
        Parts, stock and machine.
    layouts, program
        Of the plan; the rake is that of its steps.

    Returns
    -------
    Two entries a part, length and width, in the order of the order.
    """
    found: dict[tuple[str, Dimension], list[tuple[Bounded, float]]] = {}
    stock = {item.ref: item for item in order.stock}
    parts = {part.ref: part for part in order.parts}
    rakes: dict[int, float] = {}
    for step in program:
        rakes[step.layout] = max(step.settings.rake_deg, rakes.get(step.layout, 0.0))
    for layout in layouts:
        material = order.material(layout.material)
        rake = rakes.get(layout.number, 0.0)
        for one in bounded_parts(
            order.machine, material, layout, stock[layout.stock_ref], parts, order.options.trim
        ):
            lies_along = (one.axis == "x") != one.rotated
            key = (one.ref, _DIMENSIONS[0] if lies_along else _DIMENSIONS[1])
            found.setdefault(key, []).append((one, rake))
    return tuple(
        _quality(order.machine, part, dimension, found[part.ref, dimension])
        for part in order.parts
        for dimension in _DIMENSIONS
        if (part.ref, dimension) in found
    )


def _quality(
    machine: Machine, part: Part, dimension: Dimension, found: list[tuple[Bounded, float]]
) -> PartQuality:
    size = part.length if dimension == "length" else part.width
    minus, plus = limits_of(part.tolerance, size)
    under, over = aimed_limits(part.tolerance, size)
    worst = max(found, key=lambda one: one[0].spread)[0]
    errors = dict.fromkeys(one.side.errors for one, _ in found)
    chances = [chance_inside(one, under, over) for one in errors if one.known]
    inside = min(chances) if len(chances) == len(errors) else None
    findings = dict.fromkeys(
        finding for one, rake in found if one.side.fell for finding in _narrow(part, one, rake)
    )
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
        findings=(*_about_size(found, errors, inside), *findings),
    )


def _narrow(part: Part, one: Bounded, rake: float) -> list[Finding]:
    told = narrow_finding(part.thickness, one.size, rake)
    return [] if told is None else [told]


def _about_size(
    found: list[tuple[Bounded, float]], errors: Iterable[Errors], inside: float | None
) -> list[Finding]:
    told: list[Finding] = []
    gained = max((one.side.gained for one, _ in found), key=abs, default=0)
    if gained:
        told.append(
            Finding(
                "note",
                "sag-length",
                f"the drop sags and is cut about {show_mm(abs(gained))} mm too "
                f"{'long' if gained > 0 else 'short'}: carry it, or set the gauge by a measured piece",
                _SAG_BASIS,
            )
        )
    if not all(one.known for one in errors):
        told.append(
            Finding(
                "caution",
                "sag-beyond-reckoning",
                "the drop sags more than a tenth of its depth away from the gauge: how long it is cut cannot "
                "be reckoned; carry it, or gauge it otherwise",
                _SAG_BASIS,
            )
        )
    elif inside is not None and inside < LIKELY:
        told.append(
            Finding(
                "caution",
                "tolerance-doubtful",
                f"about {100 * inside:.1f} % of them lie inside the tolerance: measure each of them",
                ERROR_MODEL,
            )
        )
    return told


def tolerance_text(minus: Length, plus: Length) -> str:
    """Limits as people write them.

    >>> tolerance_text(80, 80), tolerance_text(0, 50)
    ('±0.8', '−0 +0.5')
    """
    return f"±{show_mm(plus)}" if minus == plus else f"−{show_mm(minus)} +{show_mm(plus)}"
