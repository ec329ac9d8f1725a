"""What is logged as trimmed off and what as left over, where a plan calls both a trim."""

from __future__ import annotations

from dataclasses import replace

from client.log.step import scrap_reason
from service.engine.machine import Lifting
from tests.engine.layout.test_ends import LONG, SHORTER, strips
from tests.engine.test_costly_limits import SHEAR

MACHINE = replace(SHEAR, gauge_clears=True, lifting=Lifting(25, 50, 2000))


def told(length: int) -> set[tuple[int, str]]:
    """Depth and reason of the scrap off both ends of a sheet of 2500 mm, cut into strips so long."""
    plan, order = strips(MACHINE, replace(SHORTER, length=length))
    assert not plan.unplaced
    return {
        (out.dx, scrap_reason(out, step.axis, MACHINE, order.options.trim))
        for step in plan.program
        for out in (*step.drops, *step.remainders)
        if out.kind == "trim" and step.axis == "x"
    }


def test_what_is_left_beyond_short_strips_is_left_over() -> None:
    """2500 less the trim of 5 and strips of 2400 leaves 95, which no trim cut takes."""
    assert told(SHORTER.length) == {(500, "trim"), (9500, "leftover")}


def test_a_trim_at_the_far_end_is_a_trim() -> None:
    assert told(LONG.length + 1000) == {(500, "trim")}
