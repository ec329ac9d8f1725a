"""Shears for the layout tests."""

import pytest

from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Machine, Rake, Rating


@pytest.fixture
def bench() -> Machine:
    """The shear of the plan worked by hand: 3000 mm, gauge 5 to 1000 mm, clamping depth 45 mm."""
    return Machine(
        id="bench",
        name="Bench shear",
        cutting_length=300_000,
        rating=Rating(600),
        rake=Rake(1.0, 2.0),
        gap=GapRange(2, 100),
        back_gauge=BackGauge(500, 100_000),
        hold_down=HoldDown(4500),
        squaring_arm=200_000,
    )


@pytest.fixture
def ideal() -> Machine:
    """A shear without limits: it clamps everywhere, gauges any depth, and has no error."""
    return Machine(
        id="ideal",
        name="Ideal shear",
        cutting_length=10**9,
        rating=Rating(600),
        rake=Rake(1.0, 2.0),
        gap=GapRange(2, 100),
        back_gauge=BackGauge(1, 10**9, accuracy=0),
        hold_down=HoldDown(0),
        front_stops=FrontStops(1, 10**9, 0),
    )
