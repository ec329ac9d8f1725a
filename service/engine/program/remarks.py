"""What is said beside a step: what to look at before this cut is made.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from service.engine.findings import Finding
from service.engine.handling import Lift, lift_finding, lift_for
from service.engine.machine import HoldDown, Machine
from service.engine.program.gang import feet_on
from service.engine.program.groups import Link
from service.engine.quality.narrow import narrow_drop
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.settings import gauge_setting

LIFT_CODES: Final = ("two-people", "crane")
"""Codes of the findings that say no more than the step's own word on who lifts."""

ONCE_CODES: Final = ("beyond-table", "no-squaring-arm")
"""Codes of notes that a caution of the whole plan explains; a printed step needs no line for them."""

MILL_SQUARENESS: Final = 100
"""A mill edge may be out of square by one part in so many of its length."""

FEW_FEET_BASIS: Final = "common practice: at least two feet on every piece"

_SQUARENESS: Final = (
    "EN 10051:2010, out-of-squareness of sheet with mill edges: at most 1 % of the width (from memory)"
)
_PRACTICE: Final = "common practice, shop default"
_PROFILE: Final = "machine profile"


def step_findings(
    machine: Machine,
    thickness: Length,
    link: Link,
    gang: int,
    squared: bool,
    rake_deg: float,
    about_cut: Iterable[Finding],
    about_lift: Iterable[Finding],
) -> tuple[Finding, ...]:
    """Stops and cautions about the cut itself, then what is to be said of holding, gauging and lifting.

    A ``caution`` is for what differs at this step; what it shares with others is a ``note``.
    """
    found = [finding for finding in about_cut if finding.level != "note"]
    if link.cut.gauging == "back gauge":
        found.extend(gauge_findings(machine, link.cut.gauge))
    found.extend(_drop(thickness, link, rake_deg))
    found.extend(few_feet(machine.hold_down, link.across.size, at_arm=squared))
    found.extend(_square(machine, link, squared))
    found.extend(_squaring_trim(link))
    if machine.table_depth and link.extent.size > machine.table_depth:
        found.append(
            Finding(
                "note",
                "beyond-table",
                f"hangs {show_mm(link.extent.size - machine.table_depth)} mm over the front",
                f"{_PROFILE}: table {show_mm(machine.table_depth)} mm deep",
            )
        )
        found.extend(_tips(machine, link))
    if gang > 1:
        each = "both" if gang == 2 else f"all {gang}"
        found.append(
            Finding(
                "note",
                "gang",
                f"{gang} pieces side by side: see that {each} touch the gauge and lie under the hold-downs",
                _PRACTICE,
            )
        )
    found.extend(about_lift)
    return unique(found)


def unique(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Each finding once, in the order they were found."""
    return tuple(dict.fromkeys(findings))


def gauge_findings(machine: Machine, value: Length) -> tuple[Finding, ...]:
    """A stop when the back gauge cannot reach a value, a note when it can only come near it."""
    setting, stops = gauge_setting(machine, value)
    if stops or setting == value:
        return stops
    return (
        Finding(
            "note",
            "gauge-rounded",
            f"{show_mm(value)} mm cannot be set in steps of {show_mm(machine.back_gauge.step)} mm: "
            f"the nearest is {show_mm(setting)} mm",
            _PROFILE,
        ),
    )


def few_feet(hold_down: HoldDown, along: Length, at_arm: bool) -> Iterable[Finding]:
    """A caution when a piece that begins at the squaring arm lies under fewer than two whole feet."""
    if not hold_down.feet:
        return
    feet = feet_on(hold_down, 0, along)
    if feet >= 2:
        return
    if feet == 0:
        message = (
            f"no whole foot reaches a piece of {show_mm(along)} mm at the squaring arm: "
            "move it along the blade until a foot grips it, and square it otherwise"
        )
    elif at_arm:
        message = "only one foot grips the piece at the squaring arm: see that it does before the blade comes"
    else:
        message = "only one foot grips the piece at the end of the blade: place it where two do, or under one"
    yield Finding("caution", "few-feet", message, FEW_FEET_BASIS)


def _drop(thickness: Length, link: Link, rake_deg: float) -> Iterable[Finding]:
    fall = link.fall_depth
    wanted = any(drop.kind in ("part", "piece") for drop in link.drops)
    if wanted and (said := narrow_drop(thickness, fall, rake_deg)) is not None:
        yield said


def _square(machine: Machine, link: Link, squared: bool) -> Iterable[Finding]:
    """A piece with one good side edge must be cut square to it; without an arm that is up to the eye."""
    good_side = not (link.across.near_mill and link.across.far_mill)
    if good_side and not squared and machine.squaring_arm == 0:
        yield Finding(
            "note",
            "no-squaring-arm",
            "the machine has no squaring arm: check the first piece with a square",
            _PROFILE,
        )


def _squaring_trim(link: Link) -> Iterable[Finding]:
    """A caution when the trim that squares a mill edge is less than that edge may be out of square."""
    good_side = not (link.across.near_mill and link.across.far_mill)
    mill = link.extent.near_mill if link.end_at_back == "near" else link.extent.far_mill
    if not (link.is_trim and good_side and mill):
        return
    out = -(-link.across.size // MILL_SQUARENESS)
    if link.fall_depth < out:
        yield Finding(
            "caution",
            "trim-out-of-square",
            f"the trim is {show_mm(link.fall_depth)} mm, and the mill edge may be out of square by "
            f"{show_mm(out)} mm on {show_mm(link.across.size)} mm: where some of that edge is left, trim "
            f"again. That takes up to {show_mm(out - link.fall_depth)} mm more, which must be over at the "
            f"other end; an order planned with a trim of {-(-out // PER_MM)} mm has room for it",
            _SQUARENESS,
        )


def _tips(machine: Machine, link: Link) -> Iterable[Finding]:
    """A caution when a piece laid against the blade has its weight beyond the table."""
    beyond = link.extent.size // 2 - machine.table_depth
    if beyond > 0:
        yield Finding(
            "caution",
            "tips-over-table",
            f"its weight lies up to {show_mm(beyond)} mm beyond the table and it tips: stand or crane "
            "under the front before you let go",
            f"half of its depth against the table, {show_mm(machine.table_depth)} mm deep ({_PROFILE})",
        )


def lift_of(machine: Machine, kg: float, sides: tuple[Length, Length]) -> tuple[Lift, tuple[Finding, ...]]:
    """Who moves a piece, and what is said of it. Beyond every limit: the crane, with a stop."""
    said = lift_finding(machine, kg, sides)
    return lift_for(machine, kg, sides) or "crane", () if said is None else (said,)
