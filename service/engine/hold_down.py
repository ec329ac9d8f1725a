"""What presses on a piece, what is wanted there, and what to set.

The feet of a row share one force; those beside a short piece press on the table. How much is wanted
is a share of the shearing force: the maker's or the shop's where the profile states it, else a shop
default for which no published figure was found.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from typing import Final

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.quantities import Length
from service.engine.told import told_over

HOLD_DOWN_SHARE: Final = 0.15
"""Hold-down force wanted over shearing force where the profile states none: a shop default, no published
figure was found."""

FAR_SHORT: Final = 2.0
"""Wanted over to be had from which a cut is not to be made before the holding is settled: a shop default."""


def feet_at_arm(machine: Machine, cut_length: Length) -> int:
    """How many feet press with their whole width on a piece against the squaring arm; a bar is one."""
    hold_down = machine.hold_down
    if not hold_down.feet:
        return 1
    half = hold_down.foot_width / 2
    return sum(half <= centre <= cut_length - half for centre in hold_down.feet)


def gripping_feet(machine: Machine, cut_length: Length) -> int:
    """How many feet press with their whole width on a piece where it lies.

    It lies against the squaring arm; where no foot grips it there, it is moved along the blade until
    the first one does. A bar without feet counts as one.
    """
    hold_down = machine.hold_down
    at_the_arm = feet_at_arm(machine, cut_length)
    if at_the_arm or cut_length < hold_down.foot_width:
        return at_the_arm
    half = hold_down.foot_width / 2
    start = hold_down.feet[0] - half
    return sum(start + half <= centre <= start + cut_length - half for centre in hold_down.feet)


def hold_down_wanted(machine: Machine, force_kn: float) -> float:
    """Hold-down force wanted on the piece for a shearing force, in tenths upwards [kN]."""
    stated = machine.hold_down.wanted_share
    share = HOLD_DOWN_SHARE if stated is None else stated
    return math.ceil(round(share * force_kn * 10, 6)) / 10


def hold_down_to_be_had(machine: Machine, cut_length: Length) -> float | None:
    """The most that can press on a piece against the squaring arm [kN]; None when it is not known.

    The pressure acts on all the feet; those beside the piece press on the table.
    """
    force = machine.hold_down.force_kn
    return None if force is None else force * _share_of_feet(machine, cut_length)


def held(machine: Machine, cut_length: Length, force_kn: float) -> bool:
    """Whether what is wanted for a shearing force [kN] is to be had; a force not known forbids nothing."""
    available = hold_down_to_be_had(machine, cut_length)
    return available is None or hold_down_wanted(machine, force_kn) <= available + 1e-9


def _share_of_feet(machine: Machine, cut_length: Length) -> float:
    feet = len(machine.hold_down.feet)
    return gripping_feet(machine, cut_length) / feet if feet else 1.0


def hold_down_setting(
    machine: Machine, cut_length: Length, force_kn: float
) -> tuple[float | None, tuple[Finding, ...]]:
    """Hold-down to set [kN] so that what is wanted acts on a piece against the squaring arm.

    Returns
    -------
    The setting, None when the machine's force is not known; and a ``note`` with what acts on the piece,
    with a ``caution`` (``hold-down-short``) where that is less than wanted.
    """
    hold_down = machine.hold_down
    if hold_down.force_kn is None:
        unknown = "the hold-down force of this machine is not known"
        return None, (Finding("note", "hold-down", unknown, "machine profile"),)
    basis = (
        f"{HOLD_DOWN_SHARE:.0%} of the shearing force: shop default, no published figure was found"
        if hold_down.wanted_share is None
        else f"{hold_down.wanted_share:.0%} of the shearing force: machine profile"
    )
    wanted = hold_down_wanted(machine, force_kn)
    share = _share_of_feet(machine, cut_length)
    needed = wanted / share if share else math.inf
    setting = min(math.ceil(round(needed * 10, 6)) / 10 if share else math.inf, hold_down.force_kn)
    on_piece = setting * share
    feet = f" ({gripping_feet(machine, cut_length)} of {len(hold_down.feet)} feet)" if hold_down.feet else ""
    note = Finding(
        "note",
        "hold-down",
        f"hold-down {setting:g} kN, of which {on_piece:.1f} kN act on the piece{feet}; "
        f"{wanted:g} kN are wanted there",
        basis,
    )
    if on_piece >= wanted - 1e-9:
        return setting, (note,)
    return setting, (note, _short(wanted, on_piece, feet, basis))


def _short(wanted: float, on_piece: float, feet: str, basis: str) -> Finding:
    told = told_over(wanted, on_piece, 1)
    message = f"{wanted:g} kN of hold-down are wanted on the piece, {told.limit} kN are to be had{feet}"
    if wanted >= FAR_SHORT * on_piece:
        share = f", {on_piece / wanted:.0%} of it" if on_piece else ""
        return Finding(
            "caution",
            "hold-down-short",
            f"{message}{share}: do not cut until it is settled how the piece is held",
            f"{basis}; do not cut from {FAR_SHORT:g} times short: shop default",
        )
    return Finding("caution", "hold-down-short", f"{message}: watch that it does not slip or tilt", basis)
