"""A machine profile in words, as it is read at the machine: what it reaches, holds, gauges and lifts."""

from __future__ import annotations

from collections.abc import Iterator

from service.engine.machine import HoldDown, Machine
from service.engine.quantities import Length, show_mm


def profile_lines(machine: Machine) -> Iterator[str]:
    """Every figure of a profile that limits a cut or a lift, one heading a line."""
    for heading, words in _told(machine):
        yield f"{heading:<17}{words}"


def _told(machine: Machine) -> Iterator[tuple[str, str]]:
    rating, rake, gap, gauge = machine.rating, machine.rake, machine.gap, machine.back_gauge
    yield "machine", f"{machine.id}, {machine.name}" + (f", at {machine.site}" if machine.site else "")
    yield "cutting length", _mm(machine.cutting_length)
    yield "rated", f"{_mm(rating.thickness)} of {rating.rm:g} N/mm²"
    if machine.max_thickness is not None:
        yield "thickest", f"{_mm(machine.max_thickness)} fit under blade and feet, however soft"
    limit = machine.force_limit_kn
    yield "force limit", "not stated: by the rating" if limit is None else f"{limit:g} kN"
    yield "", f"the rake is chosen {machine.force_margin:.0%} below it, for sheet over its thickness"
    yield "dulled edges", f"{machine.dulled_allowance:.0%} more force is counted than sharp edges take"
    yield (
        "rake",
        (
            f"{rake.low_deg:g}°, fixed"
            if rake.fixed
            else f"{rake.low_deg:g} to {rake.high_deg:g}°, in steps of {rake.step_deg:g}°"
        ),
    )
    yield "blade gap", f"{_span(gap.low, gap.high)}, in steps of {_mm(gap.step)}"
    for number, row in enumerate(machine.gap_table):
        heading = "gap table" if number == 0 else ""
        yield heading, f"{_mm(row.gap)} for {_mm(row.thickness)} of {row.rm:g} N/mm²"
    yield (
        "back gauge",
        (
            f"{_span(gauge.low, gauge.high)}, in steps of {_mm(gauge.step)}, drops ± {_mm(gauge.accuracy)}, "
            f"{gauge.speed_mm_s:g} mm/s"
        ),
    )
    yield (
        "",
        (
            "can be moved out of the way, so that deeper drops fall past it"
            if machine.gauge_clears
            else "cannot be moved out of the way: nothing deeper than its range falls behind the blade"
        ),
    )
    yield "gauge relief", "yes" if machine.relief else "no: the gauge cannot back off before the blade"
    stops = machine.front_stops
    yield (
        "front stops",
        "none" if stops is None else (f"{_span(stops.low, stops.high)}, what stays ± {_mm(stops.accuracy)}"),
    )
    line = machine.marked_line_accuracy
    yield "marked line", "no light line" if line is None else f"± {_mm(line)}"
    yield "squaring arm", _mm(machine.squaring_arm) if machine.squaring_arm else "none"
    yield from _holding(machine.hold_down)
    if machine.smallest_drop:
        yield "smallest drop", _mm(machine.smallest_drop)
    yield "side by side", f"at most {machine.side_by_side} pieces in one stroke"
    yield "table", f"{_mm(machine.table_depth)} deep" if machine.table_depth else "depth not stated"
    yield "sheet support", "yes" if machine.sheet_support else "no: thin drops hang free"
    yield "strokes", f"{machine.strokes_per_minute:g} a minute at the full stroke and the lowest rake"
    lifting = machine.lifting
    crane = "no crane" if lifting.crane_kg is None else f"by crane {lifting.crane_kg:g} kg"
    yield (
        "lifting",
        (
            f"one person {lifting.one_person_kg:g} kg, two people {lifting.two_people_kg:g} kg, {crane}; "
            "the local rules decide"
        ),
    )
    yield (
        "",
        (
            f"two people for what is longer than {_mm(lifting.one_person_length)}, or more than "
            f"{_mm(lifting.one_person_width)} both ways, however light"
        ),
    )
    yield "blade", f"{machine.blade_edges} edges, {machine.edge_life_m:g} m of rated plate each"


def _holding(hold_down: HoldDown) -> Iterator[tuple[str, str]]:
    yield "clamping depth", f"{_mm(hold_down.depth)}: what stays in front must be as deep at least"
    force = hold_down.force_kn
    yield "hold-down force", "not stated" if force is None else f"{force:g} kN of all feet together"
    if hold_down.wanted_share is not None:
        yield "", f"{hold_down.wanted_share:.0%} of the shearing force is wanted"
    if hold_down.feet:
        centres = ", ".join(show_mm(foot) for foot in hold_down.feet)
        yield "feet", f"{len(hold_down.feet)}, each {_mm(hold_down.foot_width)} wide"
        yield "", f"centres from the squaring arm: {centres} mm"
    else:
        yield "feet", "none: a bar clamps along the whole blade"


def _mm(length: Length) -> str:
    return f"{show_mm(length)} mm"


def _span(low: Length, high: Length) -> str:
    return f"{show_mm(low)} to {show_mm(high)} mm"
