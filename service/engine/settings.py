"""What to set the machine to for a cut, each value with its basis.

Every value is limited to, and rounded by, what the machine can set. Where a value rests on a shop
default, the constant below holds it and the finding says so.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

from typing import Final

from service.engine.clearance import gap_for
from service.engine.findings import Finding
from service.engine.force import ForceCheck, check_force
from service.engine.force_limits import SLACK, fits_force, held_at, rakes
from service.engine.hold_down import (
    feet_at_arm,
    gripping_feet,
    hold_down_setting,
    hold_down_to_be_had,
    hold_down_wanted,
)
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.plan import Gauging, Settings
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.sag import deepest_met, pull_back_mm, sag_mm
from service.engine.stroke import OPENING, OVERLAP, full_stroke, stroke_for, stroke_lacking
from service.engine.told import told_over

__all__ = [
    "feet_at_arm",
    "full_stroke",
    "gauge_setting",
    "gripping_feet",
    "hold_down_setting",
    "hold_down_to_be_had",
    "hold_down_wanted",
    "relief_wanted",
    "settings_for",
    "stroke_for",
]

LONG_FOR_RELIEF: Final = 20
"""A drop this many times longer than deep is narrow and long: a shop default."""

SAG_LIMIT_MM: Final = 5.0
"""Sag at which a drop may miss the gauge: a shop default [mm]."""

_RULE_OF_STROKE: Final = (
    f"cut length · tan(rake) + thickness + {show_mm(OPENING)} mm opening + {show_mm(OVERLAP)} mm overlap "
    "(the last two are shop defaults)"
)
_RELIEF_BASIS: Final = (
    "trims; drops whose back edge, as they tip, swings out by more than the gauge's accuracy, "
    f"√(X² + t²) − X; drops {LONG_FOR_RELIEF} times longer than deep (shop default)"
)
_SAG_BASIS: Final = (
    "cantilever under its own weight, 3·ρ·g·L⁴/(2·E·t²); "
    f"wanted above {SAG_LIMIT_MM:g} mm sag (shop default) or when the edge draws back "
    "more than the gauge's accuracy"
)


def settings_for(
    machine: Machine,
    material: Material,
    thickness: Length,
    *,
    cut_length: Length,
    drop_depth: Length,
    side_by_side: int = 1,
    measured_offset: int = 0,
    trim: bool = False,
    gauging: Gauging = "back gauge",
    force: ForceCheck | None = None,
) -> Settings:
    """The settings of one cut.

    Parameters
    ----------
    thickness, cut_length, drop_depth
        [0.01 mm], above 0. `cut_length` is the whole length sheared in the stroke.
    side_by_side
        Equal pieces that share that length: each drop is as long as its own piece.
    measured_offset
        By how much drops come out deeper than the gauge was set, measured [0.01 mm, either sign].
    trim
        Whether the drop is a trim.
    gauging
        The back gauge only backs off (relief) where it was the gauge.
    force
        The check of this very cut, when the caller has it already.

    Returns
    -------
    Settings
        With a ``note`` for each value, and a ``caution`` for what is wanted but not to be had:
        ``relief-missing``, ``support-missing``, ``hold-down-short``, ``stroke-short``, ``gap-unusual``.

    Raises
    ------
    ValueError
        When a length is not above 0.
    """
    if drop_depth <= 0:
        raise ValueError("drop depth: a length greater than zero is wanted")
    check = force if force is not None else check_force(machine, material, thickness, cut_length)
    gap, found = gap_for(machine, material, thickness)
    findings = list(found)
    findings.append(_rake_note(machine, material, thickness, cut_length, check))
    stroke = stroke_for(machine, thickness, cut_length, check.rake_deg)
    findings.append(Finding("note", "stroke", f"stroke {show_mm(stroke)} mm", _RULE_OF_STROKE))
    if lacking := stroke_lacking(machine, thickness, cut_length, check.rake_deg):
        findings.append(
            Finding(
                "caution",
                "stroke-short",
                f"{show_mm(stroke + lacking)} mm of stroke are wanted for {show_mm(thickness)} mm over this "
                f"length; {show_mm(stroke)} mm, for the thickest sheet of the profile, are all that is "
                "counted on: see that the blade cuts through to the end",
                f"{_RULE_OF_STROKE}; machine profile",
            )
        )
    hold_down, found = hold_down_setting(machine, cut_length, check.force_kn)
    findings += found
    # A drop jams by its own length, whatever lies beside it.
    long = cut_length // side_by_side
    relief = _relief(machine, thickness, long, drop_depth, trim=trim, gauging=gauging, findings=findings)
    support = _support(machine, material, thickness, drop_depth, gauging, findings)
    if measured_offset and gauging == "back gauge":
        findings.append(_offset_note(machine, drop_depth, measured_offset))
    return Settings(gap, check.rake_deg, stroke, hold_down, relief, support, tuple(findings))


def _rake_note(
    machine: Machine, material: Material, thickness: Length, cut_length: Length, check: ForceCheck
) -> Finding:
    if machine.rake.fixed:
        return Finding("note", "rake", f"rake {check.rake_deg:g}°, fixed", "machine profile")
    highest = check.rake_deg >= machine.rake.high_deg
    taken, limit = check.force_share * check.limit_kn, check.limit_kn
    if check.force_share > SLACK:
        told = told_over(taken, limit)
        message = f"rake {check.rake_deg:g}°: {told.load} kN are over the limit of {told.limit} kN"
        if highest:
            message += ", and no rake of this machine is higher"
    else:
        message = f"rake {check.rake_deg:g}° for {taken:.0f} of {limit:.0f} kN"
        smaller = max((rake for rake in rakes(machine) if rake < check.rake_deg), default=None)
        if smaller is not None:
            message += _why_not(machine, material, thickness, cut_length, smaller, check.dulled_allowance)
    return Finding(
        "note",
        "rake",
        message,
        f"smallest rake with {machine.force_margin:.0%} of the force limit left over (machine profile) and "
        "the piece held, else the highest, since the drop twists the more the higher it is "
        f"({check.method}; limit: {check.limit_basis})",
    )


def _why_not(
    machine: Machine,
    material: Material,
    thickness: Length,
    cut_length: Length,
    smaller: float,
    dulled: float,
) -> str:
    """Why not the next smaller rake; empty where nothing speaks against it."""
    about = (machine, material, thickness, cut_length, smaller, dulled)
    if not fits_force(*about):
        return f"; {smaller:g}° would be over the limit"
    if not fits_force(*about, margin=machine.force_margin):
        return f"; {smaller:g}° would leave less than {machine.force_margin:.0%} of it"
    chosen = (*about[:4], machine.rake.high_deg, dulled)
    if not held_at(*chosen):
        return ", the highest: at none of them what is wanted of the hold-down is to be had"
    if not held_at(*about):
        return f"; {smaller:g}° would want more hold-down than is to be had"
    return ""


def relief_wanted(
    thickness: Length, cut_length: Length, drop_depth: Length, accuracy: Length, *, trim: bool = False
) -> bool:
    """Whether the back gauge should back off before the blade, so that the drop cannot jam.

    For trims; for drops that are narrow and long; and for those thick against their depth, whose
    back edge swings out by more than the gauge's `accuracy` [0.01 mm] as they tip: the drop turns
    about its cut edge, and its far corner then stands a diagonal away, √(X² + t²).

    >>> relief_wanted(300, 302500, 2200, 10), relief_wanted(300, 250000, 30000, 10)
    (True, False)
    """
    return (
        trim
        or cut_length >= LONG_FOR_RELIEF * drop_depth
        # √(X² + t²) > X + accuracy, in whole numbers so that every processor says the same
        or thickness**2 > accuracy * (2 * drop_depth + accuracy)
    )


def _relief(
    machine: Machine,
    thickness: Length,
    cut_length: Length,
    drop_depth: Length,
    *,
    trim: bool,
    gauging: Gauging,
    findings: list[Finding],
) -> bool:
    if gauging != "back gauge":
        findings.append(
            Finding(
                "note",
                "relief",
                "back gauge clear of the drop; it does not gauge this cut",
                "machine profile",
            )
        )
        return False
    wanted = relief_wanted(thickness, cut_length, drop_depth, machine.back_gauge.accuracy, trim=trim)
    size = f"{show_mm(drop_depth)} mm deep and {show_mm(cut_length)} mm along the blade"
    if wanted and not machine.relief:
        findings.append(
            Finding(
                "caution",
                "relief-missing",
                f"a drop {size} can jam between blade and gauge, and this machine's gauge cannot back off: "
                "where a front stop or a marked line is fine enough gauge it by that, and keep clear",
                _RELIEF_BASIS,
            )
        )
        return False
    findings.append(
        Finding(
            "note", "relief", f"gauge relief {'on' if wanted else 'off'} for a drop {size}", _RELIEF_BASIS
        )
    )
    return wanted


def _support(
    machine: Machine,
    material: Material,
    thickness: Length,
    drop_depth: Length,
    gauging: Gauging,
    findings: list[Finding],
) -> bool:
    sag = sag_mm(material, thickness, drop_depth)
    back = pull_back_mm(sag, drop_depth / PER_MM)
    gauged = gauging == "back gauge"
    wanted = sag > SAG_LIMIT_MM or (gauged and back > machine.back_gauge.accuracy / PER_MM)
    # Beyond small bending the figure means no more than "far too much".
    meets = drop_depth <= deepest_met(material, thickness)
    shown = f"{sag:.1f} mm" if meets else "more than a tenth of its depth"
    if wanted and not machine.sheet_support:
        # The back gauge does not measure such a cut, so there is nothing for the drop to miss.
        if gauged:
            told = (
                f"its edge still meets the gauge where that reaches {sag:.1f} mm below the table, and it is "
                f"cut about {back:.2f} mm longer than the gauge is set for"
                if meets
                else "it misses the gauge. Gauge this cut by a front stop or a marked line, or carry the drop"
            )
            findings.append(
                Finding(
                    "caution",
                    "support-missing",
                    f"a drop {show_mm(drop_depth)} mm deep sags {shown}, and this machine has no sheet "
                    f"support: {told}",
                    _SAG_BASIS,
                )
            )
        return False
    findings.append(
        Finding(
            "note",
            "sheet-support",
            f"sheet support {'on' if wanted else 'off'}: the drop sags {shown}",
            _SAG_BASIS,
        )
    )
    return wanted


def gauge_setting(
    machine: Machine, drop_depth: Length, measured_offset: int = 0
) -> tuple[Length, tuple[Finding, ...]]:
    """Where to set the back gauge for a drop, given how much deeper drops were measured to come out.

    Limited to the gauge's range and rounded to its steps; a ``stop`` (``gauge-out-of-range``) when the
    corrected value lies outside the range.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500))
    >>> gauge_setting(machine, 30000, measured_offset=12)
    (29988, ())
    """
    gauge = machine.back_gauge
    wanted = drop_depth - measured_offset
    step = max(1, gauge.step)
    value = gauge.low + round((wanted - gauge.low) / step) * step
    if gauge.low <= wanted <= gauge.high:
        # The last position may lie short of the end of the range, so that rounding would step over it.
        value = min(value, gauge.low + (gauge.high - gauge.low) // step * step)
    if gauge.low <= value <= gauge.high:
        return value, ()
    held = min(max(value, gauge.low), gauge.high)
    return held, (
        Finding(
            "stop",
            "gauge-out-of-range",
            f"the gauge would have to stand at {show_mm(wanted)} mm; it reaches "
            f"{show_mm(gauge.low)} to {show_mm(gauge.high)} mm",
            "machine profile",
        ),
    )


def _offset_note(machine: Machine, drop_depth: Length, measured_offset: int) -> Finding:
    value, stops = gauge_setting(machine, drop_depth, measured_offset)
    if stops:
        return stops[0]
    return Finding(
        "note",
        "gauge-corrected",
        f"set the gauge to {show_mm(value)} mm for {show_mm(drop_depth)} mm: drops were measured "
        f"{show_mm(abs(measured_offset))} mm too {'deep' if measured_offset > 0 else 'short'}",
        "measured offset",
    )
