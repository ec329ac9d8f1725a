"""Laws of the quality of a plan, over random orders and machines.

The ± of a part adds its errors up as if all of them were at their worst; the chance adds them up as what
they are. So a part whose worst ± just fits its limits still lies inside them with the chance of ±2σ of
the normal distribution at least: 0.9545 by any table.
"""

from __future__ import annotations

from hypothesis import given, settings

from service.engine.layout.rules import nearest_position
from service.engine.order import Order
from service.engine.planner import plan
from tests.strategies import hard_machines, ideal_machines, small_orders


def hold(order: Order) -> None:
    found = plan(order)
    placed = {one.ref for one in found.quality}
    lacking = {one.ref: one.quantity for one in found.unplaced}
    parts = {part.ref: part for part in order.parts}
    assert placed == {part.ref for part in order.parts if lacking.get(part.ref, 0) < part.quantity}
    lines = [(one.ref, one.dimension) for one in found.quality]
    assert lines == [(ref, side) for ref in parts if ref in placed for side in ("length", "width")]
    for one in found.quality:
        assert one.aim - one.accuracy >= one.size - one.minus
        assert one.aim + one.accuracy <= one.size + one.plus
        assert one.inside is not None
        assert one.count == parts[one.ref].quantity - lacking.get(one.ref, 0)
        assert one.inside >= 0.954499


@settings(max_examples=60, deadline=None)
@given(small_orders(ideal_machines()))
def test_what_holds_its_tolerance_at_the_worst_is_likely_inside_on_an_ideal_shear(order: Order) -> None:
    hold(order)


@settings(max_examples=100, deadline=None)
@given(small_orders(hard_machines()))
def test_what_holds_its_tolerance_at_the_worst_is_likely_inside_on_a_hard_shear(order: Order) -> None:
    hold(order)


@settings(max_examples=60, deadline=None)
@given(small_orders(hard_machines()))
def test_a_gauge_stands_where_it_can(order: Order) -> None:
    gauge = order.machine.back_gauge
    for depth in {part.width for part in order.parts}:
        at = nearest_position(gauge, depth)
        assert gauge.low <= at <= gauge.high
        assert (at - gauge.low) % max(1, gauge.step) == 0
