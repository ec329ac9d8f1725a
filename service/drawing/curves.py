"""What a machine can cut, as pictures and as a table: thickness over cut length, force over thickness.

Lengths of the trade are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from service.drawing.chart import Axis, Curve, chart_svg, round_ticks
from service.engine.capacity import Capacity, capacity
from service.engine.force import check_force
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.shearing import MILL_CONDITION

MOST_CURVES: Final = 8
"""Curves in one picture that can be told apart."""

_POINTS: Final = 96
_SHORTEST: Final[Length] = 2000
_CAUTION: Final = (
    "Planning figures, no permission to cut: rating plate, the maker's manual and the operator decide."
)
_LOOSE: Final = "h"
_ABOUT_LOOSE: Final = (
    "h: on a piece so thick and so long the hold-down has less than is usually wanted (shop default); "
    "where the profile states wanted_share, it governs."
)
_LEAVE: Final = " *"
_ABOUT_LEAVE: Final = (
    "* Hard plate: only where the makers of the plate and of the machine allow it to be sheared."
)
_LETTERS: Final = {
    "rating": "R",
    "force": "F",
    "blade gap": "G",
    "mechanical maximum": "M",
    "hold-down": "H",
}


def curve_lengths(machine: Machine) -> tuple[Length, ...]:
    """Cut lengths at which a capacity curve is worked out: dense where cuts are short.

    Short cuts never engage the whole wedge, so it is there that the curve bends.
    """
    full = machine.cutting_length
    # A shorter piece than a clamping foot is wide cannot be held.
    low = min(max(_SHORTEST, machine.hold_down.foot_width), full)
    made = {round(low * (full / low) ** (i / (_POINTS - 1))) for i in range(_POINTS)}
    return tuple(sorted({*made, low, full}))


def capacity_svg(machine: Machine, materials: Sequence[Material]) -> str:
    """The largest thickness over the cut length, a curve for each material.

    Parameters
    ----------
    machine
        The shear.
    materials
        1 to 8 that look different; grades with one and the same curve share it. Those that must not
        be sheared are left out.

    Returns
    -------
    An SVG document; the same for the same input everywhere.

    Raises
    ------
    ValueError
        When no material may be sheared, or more curves come out than can be told apart.
    """
    lengths = curve_lengths(machine)
    found: dict[tuple[Length, ...], list[Capacity]] = {}
    for material in materials:
        if material.shearable:
            rows = capacity(machine, [material], lengths)
            found.setdefault(tuple(row.thickness for row in rows), []).append(rows[-1])
    if not found:
        raise ValueError("materials: none of them may be put under a shear")
    highest = max(max(curve) for curve in found) / PER_MM
    top = max(highest, machine.rating.thickness / PER_MM) * 1.08
    curves = [
        Curve(
            tuple((length / PER_MM, t / PER_MM) for length, t in zip(lengths, curve, strict=True)),
            f"{', '.join(_named(row) for row in rows)}: {show_mm(rows[0].thickness)} mm "
            f"({' / '.join(dict.fromkeys(row.governed_by for row in rows))})",
        )
        for curve, rows in sorted(found.items(), key=lambda item: [-t for t in item[0]][::-1])
    ]
    rating = machine.rating
    limit = "not stated" if machine.force_limit_kn is None else f"{machine.force_limit_kn:g} kN"
    rake = machine.rake
    slope = f"{rake.low_deg:g}°" if rake.fixed else f"{rake.low_deg:g} to {rake.high_deg:g}°"
    return chart_svg(
        f"{machine.name}: largest thickness",
        (
            f"rated {show_mm(rating.thickness)} mm at {rating.rm:g} N/mm², force limit {limit}, rake "
            f"{slope}, "
            f"cutting length {show_mm(machine.cutting_length)} mm",
            "at the end of each curve: the thickness over the whole length, and the limit that governs it",
            *([_ABOUT_LEAVE] if any(row.leave_needed for rows in found.values() for row in rows) else []),
        ),
        Axis(
            lengths[0] / PER_MM,
            lengths[-1] / PER_MM,
            _length_ticks(lengths[0], lengths[-1]),
            "cut length, mm",
            True,
        ),
        Axis(0.0, top, round_ticks(top), "thickness, mm"),
        curves,
        foot=f"Strength counts with the upper end of each grade's range. {_CAUTION}",
    )


def _length_ticks(low: Length, high: Length) -> tuple[tuple[float, str], ...]:
    round_ones = [digit * 10**power for power in range(7) for digit in (1, 2, 5)]
    inside = [one for one in round_ones if low <= one * PER_MM <= high / 1.4]
    return (*((float(one), str(one)) for one in inside), (high / PER_MM, show_mm(high)))


def force_svg(machine: Machine, material: Material, cut_length: Length | None = None) -> str:
    """The force of a cut over its thickness by every method, and the machine's limit.

    Parameters
    ----------
    machine, material
        The shear and what is cut; drawn at the machine's highest rake.
    cut_length
        [0.01 mm], above 0; None: the whole cutting length.

    Returns
    -------
    An SVG document; the same for the same input everywhere.
    """
    length = machine.cutting_length if cut_length is None else cut_length
    rake = machine.rake.high_deg
    (most,) = capacity(machine, [material], [length])
    end = max(most.thickness, machine.rating.thickness) * 6 // 5
    steps = sorted({max(1, end * i // 48) for i in range(1, 49)})
    checks = [check_force(machine, material, t, length, rake) for t in steps]
    names = [one.name for one in checks[0].by_method[:-1]] if rake else ["parallel"]
    at_end = {one.name: one.force_kn for one in checks[-1].by_method}
    curves = [
        Curve(
            (
                (0.0, 0.0),
                *(
                    (t / PER_MM, next(one.force_kn for one in check.by_method if one.name == name))
                    for t, check in zip(steps, checks, strict=True)
                ),
            ),
            f"{name}: {at_end[name]:.0f} kN",
        )
        for name in names
    ]
    limit = checks[0].limit_kn
    top = max(limit * 1.15, *(curve.points[-1][1] for curve in curves)) * 1.05
    mark = (
        f"{show_mm(most.thickness)} mm at most ({most.governed_by})"
        if most.thickness
        else "not for this shear"
    )
    return chart_svg(
        f"{machine.name}: force for {material.grade}",
        (
            f"cut {show_mm(length)} mm long at {rake:g}° rake, Rm {checks[-1].strength:g} N/mm² "
            f"({checks[-1].strength_basis.split(';')[0]})",
            f"with {checks[0].dulled_allowance:.0%} for dulled edges, in the factor of the mill shear "
            f"{max(MILL_CONDITION - 1, checks[0].dulled_allowance):.0%}",
            "the published methods differ; the highest that may rule counts"
            if machine.force_limit_kn is not None
            else "the limit follows from the rating plate by the raked triangle: only that curve counts",
        ),
        Axis(0.0, end / PER_MM, round_ticks(end / PER_MM), "thickness, mm"),
        Axis(0.0, top, round_ticks(top), "force, kN"),
        curves,
        shut_above=(limit, f"over the limit of {limit:.0f} kN"),
        mark_x=(most.thickness / PER_MM, mark),
        foot=f"Limit: {checks[0].limit_basis}. {_CAUTION}",
    )


def capacity_table(
    machine: Machine, materials: Iterable[Material], cut_lengths: Sequence[Length] = ()
) -> str:
    """The largest thickness of each material at several cut lengths, as text.

    A letter after each thickness names the limit that governs.
    """
    rows = capacity(machine, materials, cut_lengths)
    lengths = list(dict.fromkeys(row.cut_length for row in rows))
    grades = list(dict.fromkeys(_named(row) for row in rows))
    cells = {(_named(row), row.cut_length): _cell(row) for row in rows}
    wide = max((len(grade) for grade in grades), default=5)
    head = "grade".ljust(wide) + "".join(f"{show_mm(length):>10} mm" for length in lengths)
    lines = [
        f"Largest thickness in mm on {machine.name}, by cut length",
        "",
        head,
        "-" * len(head),
        *(
            grade.ljust(wide) + "".join(f"{cells[grade, length]:>13}" for length in lengths)
            for grade in grades
        ),
        "",
        "Governed by: "
        + ", ".join(f"{letter} {name}" for name, letter in _LETTERS.items())
        + "; – not for this shear.",
        "Strength counts with the upper end of each grade's range at each thickness.",
        *([_ABOUT_LOOSE] if any(_held_less(row) for row in rows) else []),
        *([_ABOUT_LEAVE] if any(row.leave_needed for row in rows) else []),
        _CAUTION,
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _cell(row: Capacity) -> str:
    if row.thickness == 0 and row.governed_by not in _LETTERS:
        return "–   "
    loose = _LOOSE if _held_less(row) else " "
    return f"{row.thickness / PER_MM:.2f} {_LETTERS[row.governed_by]}{loose}"


def _held_less(row: Capacity) -> bool:
    """Whether the piece is not held as is usually wanted, where that does not govern."""
    return any(
        limit.name == "hold-down"
        and not limit.counts
        and limit.thickness is not None
        and limit.thickness < row.thickness
        for limit in row.limits
    )


def _named(row: Capacity) -> str:
    return f"{row.grade}{_LEAVE}" if row.leave_needed else row.grade
