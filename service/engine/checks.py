"""Every physical limit of a single cut, in words.

The cut is asked about as it is: `cut_length` along the blade, `drop_depth` falling behind,
`remainder_depth` staying under the hold-downs. What is found is a list of findings, never an
exception: ``stop`` where the cut cannot or must not be made so. What a machine can cut at most is in
:mod:`service.engine.capacity`.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from service.engine.capacity import Capacity, capacity
from service.engine.clearance import gap_for
from service.engine.findings import Finding
from service.engine.force import ForceCheck, check_force
from service.engine.layout.rules import falls_clear
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.plan import Gauging
from service.engine.quantities import Length, show_mm
from service.engine.settings import feet_at_arm, gripping_feet, hold_down_setting

__all__ = ["FLAT_DROP", "Capacity", "capacity", "check_cut"]

FLAT_DROP: Final = 10
"""A drop narrower than this many thicknesses twists and bows noticeably: a rule of thumb, shop-set."""

_PROFILE: Final = "machine profile"


def check_cut(
    machine: Machine,
    material: Material,
    thickness: Length,
    *,
    cut_length: Length,
    drop_depth: Length | None = None,
    remainder_depth: Length | None = None,
    gauging: Gauging = "back gauge",
    pieces_side_by_side: int = 1,
    force: ForceCheck | None = None,
) -> tuple[Finding, ...]:
    """All that stands against a cut, or is worth a look before it; worst first.

    Parameters
    ----------
    thickness, cut_length, drop_depth
        [0.01 mm], above 0. `cut_length` is the whole length sheared in the stroke.
    drop_depth, remainder_depth
        Depth of what falls and of what stays in front; None: not known, and so not checked, which is
        said.
    gauging
        A front stop measures the remainder, the back gauge the drop.
    pieces_side_by_side
        Equal pieces that share the stroke along the blade.
    force
        The check of this very cut, when the caller has it already, at a rake of its own for example.

    Raises
    ------
    ValueError
        When a size is not above 0.
    """
    sizes = (thickness, cut_length, *(size for size in (drop_depth, remainder_depth) if size is not None))
    if min(sizes) <= 0 or pieces_side_by_side < 1:
        raise ValueError(
            "thickness, cut length, drop depth, remainder depth: lengths greater than zero are wanted"
        )
    if force is None:
        force = check_force(machine, material, thickness, cut_length)
    _, held = hold_down_setting(machine, cut_length, force.force_kn)
    found = [
        *_along_the_blade(machine, cut_length, pieces_side_by_side),
        *_drop(machine, thickness, drop_depth),
        *_remainder(machine, remainder_depth),
        *_gauging(machine, gauging, drop_depth, remainder_depth),
        *force.findings,
        # Of a piece that no foot grips it is said already.
        *(finding for finding in held if finding.level != "note" and gripping_feet(machine, cut_length)),
        *gap_for(machine, material, thickness)[1],
    ]
    return worst_first(found)


def worst_first(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings each once, stops before cautions before notes, else as they came."""
    order = {"stop": 0, "caution": 1, "note": 2}
    return tuple(sorted(dict.fromkeys(found), key=lambda finding: order[finding.level]))


def _along_the_blade(machine: Machine, cut_length: Length, pieces: int) -> list[Finding]:
    found: list[Finding] = []
    if cut_length > machine.cutting_length:
        found.append(
            Finding(
                "stop",
                "too-long-for-blade",
                f"{show_mm(cut_length)} mm along the blade is more than the cutting length of "
                f"{show_mm(machine.cutting_length)} mm",
                _PROFILE,
            )
        )
    hold_down = machine.hold_down
    single = cut_length // pieces
    if single < hold_down.foot_width:
        found.append(
            Finding(
                "stop",
                "narrower-than-foot",
                f"{show_mm(single)} mm along the blade is narrower than a clamping foot "
                f"({show_mm(hold_down.foot_width)} mm): it cannot be held",
                _PROFILE,
            )
        )
        return found
    if not hold_down.feet:
        return found
    if pieces > 1:
        found += _gang_grip(machine, single, pieces)
        return found
    feet = feet_at_arm(machine, cut_length)
    if feet == 0:
        found.append(
            Finding(
                "caution",
                "between-feet",
                f"{show_mm(cut_length)} mm along the blade, against the squaring arm, lies under no foot "
                "with its whole width: move it under a foot and see that it is gripped",
                _PROFILE,
            )
        )
    elif feet == 1:
        found.append(
            Finding(
                "caution",
                "one-foot",
                "one foot only grips the piece; usual practice wants two, or the piece can turn",
                "usual practice (from memory); feet of the machine profile",
            )
        )
    return found


def _gang_grip(machine: Machine, single: Length, pieces: int) -> list[Finding]:
    half = machine.hold_down.foot_width / 2
    loose = [
        number + 1
        for number in range(pieces)
        if not any(
            number * single <= centre - half and centre + half <= (number + 1) * single
            for centre in machine.hold_down.feet
        )
    ]
    if not loose:
        return []
    which = f"pieces {', '.join(map(str, loose))} lie" if len(loose) > 1 else f"piece {loose[0]} lies"
    return [
        Finding(
            "caution",
            "between-feet",
            f"side by side from the squaring arm, {which} under no foot with its whole width: "
            "move the pieces so that each is gripped",
            _PROFILE,
        )
    ]


def _drop(machine: Machine, thickness: Length, drop_depth: Length | None) -> list[Finding]:
    if drop_depth is None:
        return [
            Finding(
                "note",
                "drop-unknown",
                "the depth of the drop was not given: whether it is too narrow or twists, and whether the "
                f"back gauge reaches it, was not checked; {show_mm(machine.smallest_drop)} mm at least must "
                "fall",
                _PROFILE,
            )
        ]
    if drop_depth < machine.smallest_drop:
        return [
            Finding(
                "stop",
                "drop-too-narrow",
                f"a drop of {show_mm(drop_depth)} mm is below the smallest drop of "
                f"{show_mm(machine.smallest_drop)} mm",
                _PROFILE,
            )
        ]
    if drop_depth < FLAT_DROP * thickness:
        return [
            Finding(
                "caution",
                "narrow-drop-twist",
                f"a drop of {show_mm(drop_depth)} mm is narrower than {FLAT_DROP} thicknesses: it will twist "
                "and bow; a part that must be flat is better kept on the table side",
                f"rule of thumb, shop default: {FLAT_DROP} times the thickness",
            )
        ]
    return []


def _remainder(machine: Machine, remainder_depth: Length | None) -> list[Finding]:
    clamp = machine.hold_down.depth
    if remainder_depth is None:
        return [
            Finding(
                "note",
                "remainder-unknown",
                f"the depth of the remainder was not given; at least {show_mm(clamp)} mm must stay under the "
                "hold-downs",
                _PROFILE,
            )
        ]
    if remainder_depth < clamp:
        return [
            Finding(
                "stop",
                "remainder-not-clamped",
                f"the {show_mm(remainder_depth)} mm that stay in front do not reach the clamping depth of "
                f"{show_mm(clamp)} mm: they cannot be held and bring hands to the blade",
                _PROFILE,
            )
        ]
    return []


def _gauging(
    machine: Machine, gauging: Gauging, drop_depth: Length | None, remainder_depth: Length | None
) -> list[Finding]:
    if gauging == "back gauge":
        gauge = machine.back_gauge
        if drop_depth is not None and not gauge.low <= drop_depth <= gauge.high:
            return [_out_of_range("the back gauge", "the drop", drop_depth, gauge.low, gauge.high)]
        return []
    found = [] if drop_depth is None else list(gauge_in_the_way(machine, drop_depth))
    if gauging == "front stop":
        stops = machine.front_stops
        if stops is None:
            found.append(Finding("stop", "no-front-stops", "this machine has no front stops", _PROFILE))
        elif remainder_depth is not None and not stops.low <= remainder_depth <= stops.high:
            found.append(
                _out_of_range("the front stops", "the remainder", remainder_depth, stops.low, stops.high)
            )
    elif machine.marked_line_accuracy is None:
        found.append(
            Finding(
                "stop",
                "no-marked-line",
                "this machine has no light line to cut to a marked line by",
                _PROFILE,
            )
        )
    return found


def gauge_in_the_way(machine: Machine, depth: Length) -> Iterator[Finding]:
    """A stop where a drop that the back gauge does not gauge cannot get past it."""
    if depth >= machine.smallest_drop and not falls_clear(machine, depth):
        yield Finding(
            "stop",
            "gauge-in-the-way",
            f"the {show_mm(depth)} mm that would fall do not get past the back gauge, which goes back to "
            f"{show_mm(machine.back_gauge.high)} mm",
            _PROFILE,
        )


def _out_of_range(stop: str, side: str, depth: Length, low: Length, high: Length) -> Finding:
    return Finding(
        "stop",
        "gauge-out-of-range",
        f"{side} of {show_mm(depth)} mm is outside the {show_mm(low)} to {show_mm(high)} mm of {stop}",
        _PROFILE,
    )
