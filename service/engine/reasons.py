"""Why pieces are not planned, in the words of the order: its materials, thicknesses and limits.

The search knows only one material and thickness, and a tolerance as one ±; what it cannot say is put
in words here. Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from service.engine.force import check_force, longest_cut
from service.engine.layout.rules import gauge_error
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import Order, Part, Tolerance
from service.engine.plan import Unplaced
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.told import told_over
from service.engine.tolerance import aimed_size, allowed_deviation, limits_of


def in_words(order: Order, unplaced: Iterable[Unplaced]) -> tuple[Unplaced, ...]:
    """The same with better reasons where the order has them.

    Parameters
    ----------
    order
        The order that was planned.
    unplaced
        What of it is not planned; codes and counts stay as they are.

    Raises
    ------
    KeyError
        When a reference is not in the order.
    """
    parts = {part.ref: part for part in order.parts}
    return tuple(replace(one, reason=_reason(order, parts[one.ref], one)) for one in unplaced)


def _reason(order: Order, part: Part, one: Unplaced) -> str:
    size = f"{show_mm(part.length)} × {show_mm(part.width)} mm"
    if one.code == "no-stock-of-material":
        return no_stock(order, part)
    if one.code == "over-force":
        return f"{size}: {over_force(order.machine, order.material(part.material), part.thickness)}"
    if one.code == "no-gauging":
        lopsided = [
            told
            for name, length in (("length", part.length), ("width", part.width))
            if (told := one_sided(order.machine, part.tolerance, name, length)) is not None
        ]
        if lopsided:
            return f"{size}: {'; '.join(lopsided)}"
    return _as_ordered(part, one.reason)


def _as_ordered(part: Part, reason: str) -> str:
    """A reason that begins with the sizes that are cut for, with those ordered before them.

    >>> part = Part("A", 100000, 20000, 1, "S235JR", 300, tolerance=Tolerance(minus=50, plus=0))
    >>> _as_ordered(part, "999.75 × 199.8 mm fits on no piece of stock")
    '1000 × 200 mm, cut for 999.75 × 199.8 mm, fits on no piece of stock'
    >>> _as_ordered(part, "999.75 × 199.8 mm: it needs 3 stages of cuts")
    '1000 × 200 mm, cut for 999.75 × 199.8 mm: it needs 3 stages of cuts'
    """
    ordered, aimed = (part.length, part.width), aimed_size(part)
    if ordered == aimed:
        return reason
    # The search takes the longer side first where a part may be turned.
    for turn in (1, -1):
        cut_for = " × ".join(show_mm(one) for one in aimed[::turn]) + " mm"
        if reason.startswith(cut_for):
            size = " × ".join(show_mm(one) for one in ordered[::turn]) + " mm"
            rest = reason.removeprefix(cut_for)
            return f"{size}, cut for {cut_for}{rest if rest.startswith(':') else ',' + rest}"
    return reason


def no_stock(order: Order, part: Part) -> str:
    """That there is none of it, and what thicknesses of that material the order may be cut from."""
    words = f"there is no stock of {show_mm(part.thickness)} mm {part.material}"
    others = sorted(
        {item.thickness for item in order.stock if item.material == part.material and item.quantity > 0}
        - {part.thickness}
    )
    if not others:
        return words
    return f"{words}; of this material there is {' and '.join(show_mm(one) for one in others)} mm"


def over_force(machine: Machine, material: Material, thickness: Length) -> str:
    """What a long cut in that thickness asks of the machine, against what the machine has."""
    check = check_force(machine, material, thickness, machine.cutting_length)
    stops = [one for one in check.findings if one.level == "stop" and one.code != "force-over-limit"]
    if stops:
        return "; ".join(one.message for one in stops)
    told = told_over(check.force_share * check.limit_kn, check.limit_kn)
    words = (
        f"a long cut in {show_mm(thickness)} mm {material.grade} takes "
        f"{told.load} kN, {machine.name} has {told.limit} kN"
    )
    longest = longest_cut(machine, material, thickness) // PER_MM
    return f"{words}; only cuts up to {longest} mm are within that" if longest else words


def one_sided(machine: Machine, tolerance: Tolerance, name: str, size: Length) -> str | None:
    """What is said of limits that are not the same both ways and too near to each other; else None.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Rake, Rating
    >>> shear = Machine("a", "A", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 100),
    ...                 BackGauge(500, 100000, accuracy=10), HoldDown(4500))
    >>> one_sided(shear, Tolerance(minus=15, plus=0), "length", 60000)
    'its length of 600 is ordered plus 0, minus 0.15: a cut may be off by ±0.1 either way, which is more'
    >>> one_sided(shear, Tolerance(minus=50, plus=0), "length", 60000) is None
    True
    """
    minus, plus = limits_of(tolerance, size)
    accuracy = _finest(machine, size)
    if minus == plus or accuracy is None or allowed_deviation(tolerance, size) >= accuracy:
        return None
    return (
        f"its {name} of {show_mm(size)} is ordered plus {show_mm(plus)}, minus {show_mm(minus)}: "
        f"a cut may be off by ±{show_mm(accuracy)} either way, which is more"
    )


def _finest(machine: Machine, size: Length) -> Length | None:
    """The smallest ± with which the machine gauges that size; None when nothing gauges it."""
    ways: list[Length] = []
    if machine.back_gauge.low <= size <= machine.back_gauge.high:
        ways.append(gauge_error(machine.back_gauge, size))
    stops = machine.front_stops
    if stops is not None and stops.low <= size <= stops.high:
        ways.append(stops.accuracy)
    return min(ways, default=None)
