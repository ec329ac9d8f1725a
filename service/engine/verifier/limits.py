"""What one cut asks of the machine: reach, grip, gauge, strength and settings.

Strength is stated on its own here, by the rating plate only: a thickness t of strength Rm counts as
t·√(Rm/Rm₀) of the plain steel that the machine is rated for.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from service.engine.verifier.facts import Cut, Grade, Plan, Range, Shear, Stock
from service.engine.verifier.faults import Faults, shown

_HAIR = Decimal("1.000001")
"""Figures that were rounded on their way must not fail a comparison of equals."""

_GRAVITY = Decimal("9.80665")
_MOST_SAG = Decimal("0.1")
"""Sag over depth with which a drop that nothing carries still meets the gauge."""


def check_limits(shear: Shear, cut: Cut, where: str, faults: Faults) -> None:
    """Whether the machine can make, hold, gauge and be set for this cut."""
    _check_reach(shear, cut, where, faults)
    _check_gauge(shear, cut, where, faults)
    rake = shear.rake
    faults.unless(
        shear.gap.low <= cut.gap <= shear.gap.high,
        "gap-range",
        f"{where}/settings/gap_mm",
        f"a blade gap of {shown(cut.gap)} mm cannot be set",
    )
    faults.unless(
        rake[0] / _HAIR <= cut.rake_deg <= rake[1] * _HAIR,
        "rake-range",
        f"{where}/settings/rake_deg",
        f"a rake of {cut.rake_deg}° cannot be set",
    )
    faults.unless(
        shear.relief or not cut.relief,
        "not-fitted",
        f"{where}/settings/relief",
        "this machine has no gauge relief",
    )
    faults.unless(
        shear.sheet_support or not cut.sheet_support,
        "not-fitted",
        f"{where}/settings/sheet_support",
        "this machine has no sheet support",
    )
    faults.unless(
        shear.squaring_arm > 0 or not cut.squared,
        "not-fitted",
        f"{where}/squared",
        "this machine has no squaring arm",
    )
    for stop in cut.stops:
        faults.add("stop", f"{where}/findings", f"the step is forbidden by its own finding: {stop}")


def _check_reach(shear: Shear, cut: Cut, where: str, faults: Faults) -> None:
    length = cut.along_blade * cut.gang
    faults.unless(
        length <= shear.cutting_length,
        "cutting-length",
        f"{where}/along_blade_mm",
        f"{shown(length)} mm along the blade is more than {shown(shear.cutting_length)} mm",
    )
    faults.unless(
        cut.gang <= cut.pieces,
        "gang",
        f"{where}/gang",
        f"{cut.gang} side by side, but there are {cut.pieces}",
    )
    strokes = cut.repeat * -(-cut.pieces // cut.gang)
    faults.unless(
        cut.strokes == strokes,
        "strokes",
        f"{where}/strokes",
        f"{strokes} strokes are needed, not {cut.strokes}",
    )
    if not shear.feet:
        return
    if cut.gang == 1:
        faults.unless(
            cut.along_blade >= shear.foot_width,
            "not-gripped",
            f"{where}/along_blade_mm",
            f"{shown(cut.along_blade)} mm along the blade is narrower than a clamping foot",
        )
        return
    # Every foot serves one place at most, so this looks at each foot once however long the gang is.
    served = set()
    for foot in shear.feet:
        left, right = 2 * foot - shear.foot_width, 2 * foot + shear.foot_width
        place = max(left, 0) // (2 * cut.along_blade)
        if left >= 0 and right <= 2 * cut.along_blade * (place + 1):
            served.add(place)
    lacking = next((i for i in range(min(cut.gang, len(shear.feet) + 1)) if i not in served), None)
    faults.unless(
        lacking is None,
        "not-gripped",
        f"{where}/gang",
        f"no clamping foot stands wholly on piece {(lacking or 0) + 1} from the squaring arm",
    )


def _check_gauge(shear: Shear, cut: Cut, where: str, faults: Faults) -> None:
    at = f"{where}/gauge_mm"
    if cut.gauging == "back gauge":
        gauge = shear.back_gauge
        faults.unless(
            gauge.low <= cut.gauge <= gauge.high,
            "gauge-range",
            at,
            f"the back gauge does not reach {shown(cut.gauge)} mm",
        )
        off = off_step(gauge, cut.gauge)
        faults.unless(
            off == 0 or "gauge-rounded" in cut.remarks,
            "gauge-step",
            at,
            f"the nearest that the back gauge can stand to {shown(cut.gauge)} mm is {shown(off)} mm off, "
            "and the step does not say so",
        )
        wanted = "drop"
    elif cut.gauging == "front stop":
        stops = shear.front_stops
        if stops is None:
            faults.add("not-fitted", f"{where}/gauging", "this machine has no front stops")
        else:
            faults.unless(
                stops.low <= cut.gauge <= stops.high,
                "gauge-range",
                at,
                f"the front stops do not reach {shown(cut.gauge)} mm",
            )
        wanted = "remainder"
    else:
        faults.unless(
            shear.marked_line_accuracy is not None,
            "not-fitted",
            f"{where}/gauging",
            "this machine has no light line to cut to a mark",
        )
        wanted = cut.measured
    faults.unless(
        cut.measured == wanted,
        "measured-side",
        f"{where}/measured",
        f"by a {cut.gauging} the {wanted} has the measured size",
    )
    faults.unless(
        cut.measured == "drop" or cut.repeat == 1,
        "measured-side",
        f"{where}/repeat",
        "a remainder can be cut to one size once only",
    )


def off_step(gauge: Range, value: int) -> int:
    """How far the nearest position of a gauge that moves in steps lies from a value.

    >>> off_step(Range(500, 100000, 10), 2003), off_step(Range(500, 1004, 10), 1004)
    (3, 4)
    """
    step = max(1, gauge.step)
    places = max(0, gauge.high - gauge.low) // step
    below = min(max(0, value - gauge.low) // step, places)
    return min(abs(gauge.low + place * step - value) for place in (below, min(below + 1, places)))


def error_of(plan: Plan, cut: Cut) -> int:
    """The ± of the measured side: the accuracy, what a gauge in steps cannot reach, and what sag adds."""
    shear = plan.shear
    if cut.gauging == "back gauge":
        return shear.back_gauge.accuracy + off_step(shear.back_gauge, cut.gauge) + _gained(plan, cut)
    if cut.gauging == "front stop":
        return shear.front_stops.accuracy if shear.front_stops is not None else 0
    return shear.marked_line_accuracy or 0


def check_strength(plan: Plan, stock: Stock, cut: Cut, where: str, faults: Faults) -> None:
    """Whether thickness and strength are within the plate, and mass and force are stated rightly."""
    shear, grade = plan.shear, plan.grades.get(stock.material)
    if grade is None:
        faults.add("material", where, f"the order does not describe {stock.material!r}")
        return
    faults.unless(grade.shearable, "strength", where, f"{stock.material} must not be put under a shear")
    # t·√(Rm/Rm₀) ≤ t₀ without a root, in exact numbers
    t, t0 = stock.thickness, shear.rated_thickness
    strongest = max(grade.strongest(t), stock.certified or Decimal(0))
    faults.unless(
        t * t * strongest <= t0 * t0 * shear.rated_rm * _HAIR,
        "strength",
        where,
        f"{shown(t)} mm of {stock.material} is more than the rating of {shown(t0)} mm",
    )
    faults.unless(
        shear.max_thickness is None or t <= shear.max_thickness,
        "strength",
        where,
        f"{shown(t)} mm do not fit under the blade",
    )
    limit = shear.force_limit_kn
    faults.unless(
        limit is None or cut.force_kn <= limit * _HAIR,
        "force",
        f"{where}/force_kn",
        f"{cut.force_kn} kN is more than the machine may push",
    )
    faults.unless(
        cut.rating_share <= _HAIR, "force", f"{where}/rating_share", "more than the whole of the rating"
    )
    if cut.gauging == "back gauge" and not shear.sheet_support:
        faults.unless(
            sag_share(cut.gauge, t, grade) <= _MOST_SAG * _HAIR,
            "gauge-missed",
            f"{where}/gauge_mm",
            f"a drop of {shown(cut.gauge)} mm sags more than a tenth of its depth, and nothing carries it "
            "to the back gauge",
        )
    kg = mass_kg(cut.along_blade * cut.depth, t, grade)
    faults.unless(
        abs(kg - cut.piece_kg) <= kg / 10**6 + Decimal("0.005"),
        "mass",
        f"{where}/piece_kg",
        f"the piece weighs {kg:.3f} kg, not {cut.piece_kg}",
    )
    limits = (
        ("one person", shear.one_person_kg),
        ("two people", shear.two_people_kg),
        ("crane", shear.crane_kg),
    )
    able = [name for name, most in limits if most is not None and kg <= most * _HAIR]
    long, wide = max(cut.along_blade, cut.depth), min(cut.along_blade, cut.depth)
    if able[:1] == ["one person"] and (long > shear.one_person_length or wide > shear.one_person_width):
        able = able[1:]
    near = any(most is not None and abs(kg - most) * 10**5 <= kg for _, most in limits)
    faults.unless(
        near or able[:1] == [cut.lift],
        "lift",
        f"{where}/lift",
        f"{kg:.1f} kg is for {able[0] if able else 'nobody here'}, not {cut.lift}",
    )


def _gained(plan: Plan, cut: Cut) -> int:
    sheet = plan.sheets.get(cut.layout)
    stock = None if sheet is None else plan.stock.get(sheet.stock_ref)
    grade = None if stock is None else plan.grades.get(stock.material)
    if plan.shear.sheet_support or stock is None or grade is None:
        return 0
    return drawn_back(cut.gauge, stock.thickness, grade)


def drawn_back(depth: int, thickness: int, grade: Grade) -> int:
    """How far the sag of a drop pulls its edge away from the gauge, so that it is cut too long.

    A cantilever under an even load has the slope q·(3·L²·x − 3·L·x² + x³)/(6·E·I), with q/(E·I) = 8·δ/L⁴;
    half of the integral of its square over the depth is (4/7)·δ²/L. One millimetre of steel over half a
    metre: 34.37 mm of sag.

    >>> drawn_back(50_000, 100, Grade(Decimal(510), Decimal(7850), True))
    135
    """
    back = Decimal(4) / 7 * sag_share(depth, thickness, grade) ** 2 * depth
    return int(back.to_integral_value(ROUND_HALF_UP))


def sag_share(depth: int, thickness: int, grade: Grade) -> Decimal:
    """Sag of the free edge of a cantilever under its own weight, over its depth.

    With the load q = ρ·g·t a unit of breadth and I = t³/12 the sag is q·L⁴/(8·E·I).

    >>> round(sag_share(50_000, 100, Grade(Decimal(510), Decimal(7850), True)), 4)
    Decimal('0.0687')
    """
    metres, thick = Decimal(depth) / 10**5, Decimal(thickness) / 10**5
    load = grade.density * _GRAVITY * thick  # [N/m²]
    stiffness = grade.youngs_modulus * 10**6 * thick**3 / 12  # [N·m]
    return load * metres**3 / (8 * stiffness)


def mass_kg(area: int, thickness: int, grade: Grade) -> Decimal:
    """Mass [kg] of an area in squared hundredths of a millimetre.

    1 m × 1 m × 1 mm at 7850 kg/m³:

    >>> mass_kg(100_000 * 100_000, 100, Grade(Decimal(510), Decimal(7850), True))
    Decimal('7.85')
    """
    return area * thickness * grade.density / 10**15
