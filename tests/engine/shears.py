"""A shear for the tests of force, and the ranges over which its laws must hold."""

from dataclasses import replace

from hypothesis import settings
from hypothesis import strategies as st

from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import material_named

STEEL = material_named("plain steel")


def shear(**changes) -> Machine:
    machine = Machine(
        id="m",
        name="Bench 3 m",
        cutting_length=300_000,
        rating=Rating(600),
        rake=Rake(1.5, 1.5),
        gap=GapRange(5, 80, 5),
        back_gauge=BackGauge(500, 100_000),
        hold_down=HoldDown(4500),
    )
    return replace(machine, **changes)


def codes(check, level="stop"):
    return [finding.code for finding in check.findings if finding.level == level]


thicknesses = st.floats(0.3, 25)
strengths = st.floats(60, 1500)
lengths = st.floats(1, 6000)
slopes = st.floats(0.05, 6)
shares = st.floats(0.05, 1)
elongations = st.floats(0.03, 0.7)
laws = settings(max_examples=100, deadline=None)
