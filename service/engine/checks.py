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
from service.engine.program.gang import feet_on
from service.engine.program.remarks import FEW_FEET_BASIS, few_feet
from service.engine.quality.narrow import narrow_drop
from service.engine.quantities import Length, show_mm
from service.engine.settings import gripping_feet, hold_down_setting

__all__ = ["Capacity", "capacity", "check_cut"]

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
        *along_the_blade(machine, cut_length, pieces_side_by_side),
        *_drop(machine, thickness, drop_depth, force.rake_deg),
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


def along_the_blade(machine: Machine, cut_length: Length, pieces: int = 1) -> list[Finding]:
    """Stops for a cut longer than the blade or pieces narrower than a foot; cautions for few feet."""
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
    found += few_feet(machine.hold_down, cut_length, at_arm=True)
    return found


def _gang_grip(machine: Machine, single: Length, pieces: int) -> list[Finding]:
    feet = [feet_on(machine.hold_down, at * single, (at + 1) * single) for at in range(pieces)]
    found: list[Finding] = []
    if loose := [number for number, grip in enumerate(feet, start=1) if grip == 0]:
        found.append(
            Finding(
                "caution",
                "between-feet",
                f"side by side from the squaring arm, {_pieces(loose)} under no foot with its whole width: "
                "move the pieces so that each is gripped",
                _PROFILE,
            )
        )
    if turning := [number for number, grip in enumerate(feet, start=1) if grip == 1]:
        found.append(
            Finding(
                "caution",
                "few-feet",
                f"side by side from the squaring arm, {_pieces(turning)} under one foot only: see that it "
                "grips before the blade comes",
                FEW_FEET_BASIS,
            )
        )
    return found


def _pieces(numbers: list[int]) -> str:
    named = ", ".join(map(str, numbers))
    return f"pieces {named} lie" if len(numbers) > 1 else f"piece {named} lies"


def _drop(machine: Machine, thickness: Length, drop_depth: Length | None, rake_deg: float) -> list[Finding]:
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
    return list(narrow_or_small(machine, thickness, drop_depth, rake_deg))


def narrow_or_small(machine: Machine, thickness: Length, depth: Length, rake_deg: float) -> Iterator[Finding]:
    """A stop for a drop below the smallest one, a caution for one that is likely to twist."""
    if depth < machine.smallest_drop:
        yield Finding(
            "stop",
            "drop-too-narrow",
            f"a drop of {show_mm(depth)} mm is below the smallest drop of {show_mm(machine.smallest_drop)} "
            "mm",
            _PROFILE,
        )
    elif (narrow := narrow_drop(thickness, depth, rake_deg)) is not None:
        yield narrow


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
    return list(not_clamped(machine, remainder_depth))


def not_clamped(machine: Machine, depth: Length) -> Iterator[Finding]:
    """A stop where what stays in front does not reach the clamping depth."""
    clamp = machine.hold_down.depth
    if depth < clamp:
        yield Finding(
            "stop",
            "remainder-not-clamped",
            f"the {show_mm(depth)} mm that stay in front do not reach the clamping depth of "
            f"{show_mm(clamp)} mm: they cannot be held and bring hands to the blade",
            _PROFILE,
        )


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
        found += front_stop(machine, remainder_depth)
    else:
        found += marked_line(machine)
    return found


def front_stop(machine: Machine, depth: Length | None) -> Iterator[Finding]:
    """A stop where there are no front stops, or they do not reach that depth (None: not known)."""
    stops = machine.front_stops
    if stops is None:
        yield Finding("stop", "no-front-stops", "this machine has no front stops", _PROFILE)
    elif depth is not None and not stops.low <= depth <= stops.high:
        yield _out_of_range("the front stops", "the remainder", depth, stops.low, stops.high)


def marked_line(machine: Machine) -> Iterator[Finding]:
    """A stop where there is no light line to cut by."""
    if machine.marked_line_accuracy is None:
        message = "this machine has no light line to cut to a marked line by"
        yield Finding("stop", "no-marked-line", message, _PROFILE)


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
