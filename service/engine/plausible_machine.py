"""Contradictions and doubtful figures in a machine profile, in words.

A *slip* is refused: two figures of the profile cannot both be true. A *finding* is told: the figures
are unusual together, and may be right.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Final

from service.engine.clearance import FOLDING_SHARE, gap_for
from service.engine.findings import Finding
from service.engine.force_limits import force_limit
from service.engine.gap_table import column_gap
from service.engine.machine import GapRow, Machine
from service.engine.materials_table import material_named
from service.engine.plausible import KGF, KSI, Slip
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.stroke import full_stroke, stroke_seconds

_ROUGH: Final = "comparison within the profile; the maker's manual decides"
_INCH: Final = 25.4
US_TON: Final = 8.896443
"""A ton-force of 2000 pounds [kN]."""


def machine_slips(machine: Machine) -> tuple[Slip, ...]:
    """What of a profile contradicts itself."""
    return (
        *_stops_and_gauge(machine),
        *_holding(machine),
        *_thickness_and_gap(machine),
        *_table(machine),
        *_force_and_rating(machine),
    )


FORCE_AGAINST_RATING: Final = (0.2, 5.0)
"""Force limit over what the rated plate takes: outside of this one of the figures cannot be meant."""

LEAST_RATED_STRENGTH: Final = 200.0
"""No steel is weaker [N/mm²]."""

THINNEST_RATING: Final[Length] = 40
"""Below this a rated thickness is taken for one in inches: our choice."""


def _force_and_rating(machine: Machine) -> Iterator[Slip]:
    rating = machine.rating
    if rating.rm < LEAST_RATED_STRENGTH:
        others = [
            f"{rating.rm * factor:.0f} if it is in {unit}"
            for unit, factor in (("kgf/mm²", KGF), ("ksi", KSI))
            if LEAST_RATED_STRENGTH <= rating.rm * factor <= 1500
        ]
        hint = f"; write {' or '.join(others)}" if others else ""
        yield Slip(("rating", "rm"), f"{rating.rm:g} N/mm² is less than any steel has{hint}")
        return
    if rating.thickness < THINNEST_RATING:
        yield Slip(
            ("rating", "thickness"),
            f"no shear is rated for {show_mm(rating.thickness)} mm; if it is in inches, write "
            f"{rating.thickness / PER_MM * _INCH:.1f}",
        )
        return
    rated_kn = force_limit(_without_limit(machine), machine.dulled_allowance)[0] / 1000
    for path, what, value in (
        (("force_limit_kn",), "force limit", machine.force_limit_kn),
        (("hold_down", "force_kn"), "hold-down force", machine.hold_down.force_kn),
    ):
        if value is None:
            continue
        least, most = FORCE_AGAINST_RATING if path == ("force_limit_kn",) else (0.0, FORCE_AGAINST_RATING[1])
        if least <= value / rated_kn <= most:
            continue
        others = [
            f"{value * factor:.0f} if it is in {unit}"
            for unit, factor in (("N", 0.001), ("tonnes-force", KGF), ("US tons-force", US_TON))
            if max(least, 0.03) <= value * factor / rated_kn <= most
        ]
        hint = f"write {' or '.join(others)}" if others else "look at both"
        yield Slip(
            path,
            f"a {what} of {value:g} kN is {value / rated_kn:.3g} times what the rated plate takes at the "
            f"highest rake ({rated_kn:.0f} kN); {hint}",
        )


def _stops_and_gauge(machine: Machine) -> Iterator[Slip]:
    stops, arm = machine.front_stops, machine.squaring_arm
    if stops is not None and 0 < arm < stops.high:
        yield Slip(
            ("front_stops", "high"),
            f"the front stops sit on the squaring arm, which ends at {show_mm(arm)} mm; "
            f"{show_mm(stops.high)} mm is beyond it",
        )
    if machine.smallest_drop > machine.back_gauge.high:
        yield Slip(
            ("smallest_drop",),
            f"the smallest drop, {show_mm(machine.smallest_drop)} mm, is more than the back gauge reaches "
            f"({show_mm(machine.back_gauge.high)} mm): it could gauge nothing",
        )
    if machine.back_gauge.step > machine.back_gauge.high:
        yield Slip(("back_gauge", "step"), "a step of the gauge is longer than its range")
    if machine.lifting.two_people_kg < machine.lifting.one_person_kg:
        yield Slip(
            ("lifting", "two_people_kg"), "two people may lift less than one: the figures are changed over"
        )


def _holding(machine: Machine) -> Iterator[Slip]:
    hold = machine.hold_down
    for index, centre in enumerate(hold.feet):
        if centre > machine.cutting_length:
            yield Slip(
                ("hold_down", "feet", index),
                f"a foot at {show_mm(centre)} mm is beyond the cutting length of "
                f"{show_mm(machine.cutting_length)} mm",
            )
    for one, other in pairwise(hold.feet):
        if other - one < hold.foot_width:
            yield Slip(
                ("hold_down", "foot_width"),
                f"feet {show_mm(hold.foot_width)} mm wide overlap: two stand {show_mm(other - one)} mm apart",
            )
            break
    if 0 < machine.table_depth < hold.depth:
        yield Slip(
            ("table_depth",),
            f"the feet press onto the table {show_mm(hold.depth)} mm before the blade; a table "
            f"{show_mm(machine.table_depth)} mm deep does not reach there",
        )


_RATED_STEEL: Final = material_named("plain steel")


def _thickness_and_gap(machine: Machine) -> Iterator[Slip]:
    rated = machine.rating.thickness
    if machine.max_thickness is not None and machine.max_thickness < rated:
        yield Slip(
            ("max_thickness",),
            f"{show_mm(machine.max_thickness)} mm at most contradicts the rating of {show_mm(rated)} mm",
        )
    if machine.gap_table:
        return
    _, findings = gap_for(machine, _RATED_STEEL, rated)
    stop = next((one for one in findings if one.level == "stop"), None)
    if stop is not None:
        side = "high" if stop.code == "gap-too-narrow" else "low"
        inch = (
            f"; if it is in inches, write {machine.gap.high * _INCH / PER_MM:.2f}"
            if side == "high" and machine.gap.high * _INCH < rated
            else ""
        )
        yield Slip(("gap", side), f"for the rated plate {stop.message}{inch}")


def _table(machine: Machine) -> Iterator[Slip]:
    seen: dict[tuple[float, Length], int] = {}
    for index, row in enumerate(machine.gap_table):
        if (row.rm, row.thickness) in seen:
            yield Slip(
                ("gap_table", index), f"{_named(row)} is there twice (row {seen[row.rm, row.thickness] + 1})"
            )
        seen.setdefault((row.rm, row.thickness), index)
        if not machine.gap.low <= row.gap <= machine.gap.high:
            yield Slip(
                ("gap_table", index, "gap"),
                f"{show_mm(row.gap)} mm cannot be set: the machine sets {show_mm(machine.gap.low)} to "
                f"{show_mm(machine.gap.high)} mm",
            )
        if row.gap > FOLDING_SHARE * row.thickness:
            yield Slip(
                ("gap_table", index, "gap"),
                f"{show_mm(row.gap)} mm is more than half of {show_mm(row.thickness)} mm: the sheet would be "
                "drawn in",
            )
    numbered = list(enumerate(machine.gap_table))
    by_strength = sorted((row.rm, row.thickness, index) for index, row in numbered)
    by_thickness = sorted((row.thickness, row.rm, index) for index, row in numbered)
    for order in (by_strength, by_thickness):
        for (kind, _, first), (next_kind, _, second) in pairwise(order):
            one, other = machine.gap_table[first], machine.gap_table[second]
            if kind == next_kind and other.gap < one.gap:
                yield Slip(
                    ("gap_table", second, "gap"),
                    f"the gap falls from {show_mm(one.gap)} mm for {_named(one)} to {show_mm(other.gap)} "
                    "mm for "
                    f"{_named(other)}; it grows with thickness and strength",
                )
    if len(seen) == len(numbered):
        yield from (
            Slip(("gap_table", index, "gap"), message) for index, message, read in _falls(machine) if read
        )


def _falls(machine: Machine) -> Iterator[tuple[int, str, bool]]:
    """Where the table makes the gap fall with strength between its rows: row, words, and whether inside.

    Columns of neighbouring strengths are straight between the thicknesses of either, and beyond them by
    share, so that is where to compare them. Inside: both columns reach that thickness.
    """
    rows = machine.gap_table
    strengths = sorted({row.rm for row in rows})
    for low, high in pairwise(strengths):
        knots: dict[float, dict[Length, int]] = {low: {}, high: {}}
        for index, row in enumerate(rows):
            if row.rm in knots:
                knots[row.rm][row.thickness] = index
        for thickness in sorted({*knots[low], *knots[high]}):
            if thickness in knots[low] and thickness in knots[high]:
                continue  # compared row by row
            below, left_below = column_gap(rows, low, thickness)
            above, left_above = column_gap(rows, high, thickness)
            if above < below * (1 - 1e-9):
                index = knots[high].get(thickness, knots[low].get(thickness, 0))
                yield (
                    index,
                    f"at {show_mm(thickness)} mm the gap falls from {below / PER_MM:.2f} mm for {low:g} "
                    f"N/mm² to {above / PER_MM:.2f} mm for {high:g} N/mm², read from its rows; it grows "
                    "with strength",
                    not left_below and not left_above,
                )


def _named(row: GapRow) -> str:
    return f"{show_mm(row.thickness)} mm of {row.rm:g} N/mm²"


def machine_findings(machine: Machine) -> tuple[Finding, ...]:
    """What of a profile is unusual, or makes answers rough."""
    return (
        *_doubtful_force(machine),
        *_doubtful_reach(machine),
        *_doubtful_speed(machine),
        *(_caution("gap-table-ragged", message) for _, message, inside in _falls(machine) if not inside),
    )


def _caution(code: str, message: str) -> Finding:
    return Finding("caution", code, message, _ROUGH)


def _doubtful_force(machine: Machine) -> Iterator[Finding]:
    rm = machine.rating.rm
    if not 300 <= rm <= 700:
        yield _caution("unusual-rating", f"rating plates usually name 400 to 500 N/mm², not {rm:g}")
    rated_n = force_limit(_without_limit(machine), machine.dulled_allowance)[0]
    if machine.force_limit_kn is not None:
        share = machine.force_limit_kn * 1000 / rated_n
        if not (1 - 1e-9) <= share <= 3:
            yield _caution(
                "force-against-rating",
                f"{machine.force_limit_kn:g} kN is {share:.2f} times what the rated plate takes on the whole "
                f"length at the highest rake ({rated_n / 1000:.0f} kN)"
                + (": the machine lacks the force for its own rating" if share < 1 else "")
                + "; look at force, rating and rake",
            )
    hold = machine.hold_down.force_kn
    if hold is None:
        yield Finding(
            "note", "hold-down-unknown", "without a hold-down force nothing is checked of it", _ROUGH
        )
    elif not 0.03 <= hold * 1000 / rated_n <= 1.5:
        yield _caution(
            "hold-down-against-force",
            f"{hold:g} kN of hold-down for {rated_n / 1000:.0f} kN of shearing force at the rating is "
            "unusual",
        )
    if not 0.1 <= machine.dulled_allowance <= 0.5:
        yield _caution(
            "unusual-allowance",
            f"{machine.dulled_allowance:.0%} for dulled edges; press-tool courses say 15 to 30 %",
        )
    _, gaps = gap_for(machine, _RATED_STEEL, machine.rating.thickness)
    for finding in gaps:
        if finding.level == "caution":
            yield Finding("caution", finding.code, f"for the rated plate: {finding.message}", finding.basis)


def _without_limit(machine: Machine) -> Machine:
    return replace(machine, force_limit_kn=None)


def _doubtful_reach(machine: Machine) -> Iterator[Finding]:
    gauge = machine.back_gauge
    if machine.front_stops is not None and machine.squaring_arm == 0:
        yield _caution("stops-without-arm", "front stops sit on a squaring arm, and the profile has none")
    if gauge.high > machine.cutting_length:
        yield _caution(
            "gauge-beyond-length",
            f"the back gauge reaches {show_mm(gauge.high)} mm, more than the cutting length: look at the "
            "unit",
        )
    if machine.table_depth and gauge.high > 2 * machine.table_depth:
        yield _caution(
            "gauge-beyond-table",
            f"the back gauge reaches {show_mm(gauge.high)} mm behind the blade, the table only "
            f"{show_mm(machine.table_depth)} mm before it: deep sheets hang over the front",
        )
    if gauge.accuracy > 200:
        yield _caution("rough-gauge", f"an accuracy of ±{show_mm(gauge.accuracy)} mm is unusual")
    if machine.rating.thickness > 5000:
        yield _caution("thick-rating", f"rated for {show_mm(machine.rating.thickness)} mm: look at the unit")
    half = machine.hold_down.foot_width / 2
    if any(centre < half for centre in machine.hold_down.feet):
        yield _caution("foot-beyond-arm", "a foot reaches beyond the squaring arm; it counts only in part")


def _doubtful_speed(machine: Machine) -> Iterator[Finding]:
    travel = full_stroke(machine) / PER_MM
    speed = 2 * travel / stroke_seconds(machine, full_stroke(machine))
    if not 5 <= speed <= 500:
        yield _caution(
            "blade-speed",
            f"{machine.strokes_per_minute:g} strokes a minute over {travel:.0f} mm are {speed:.0f} mm/s "
            "of blade "
            "speed: look at strokes, rake and length",
        )
