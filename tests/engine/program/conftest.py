"""The shear, steel and sheet that the checks of cut programs share."""

import pytest

from service.engine.machine import BackGauge, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials import Material
from service.engine.materials_table import material_named
from service.engine.quantities import mm


@pytest.fixture(scope="session")
def steel() -> Material:
    return material_named("S235JR")


@pytest.fixture(scope="session")
def shear() -> Machine:
    """The machine of the plan worked by hand: 3000 long, gauge 5 to 1000, clamping depth 45, rated 6 mm."""
    return Machine(
        id="worked",
        name="the worked shear",
        cutting_length=mm(3000),
        rating=Rating(mm(6)),
        rake=Rake(1.5, 1.5),
        gap=GapRange(mm(0.05), mm(1)),
        back_gauge=BackGauge(mm(5), mm(1000)),
        hold_down=HoldDown(mm(45)),
        squaring_arm=mm(1000),
        relief=True,
        sheet_support=True,
        lifting=Lifting(25, 40, 500),
    )
