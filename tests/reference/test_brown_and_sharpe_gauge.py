"""Brown & Sharpe gauge for non-ferrous sheet: thickness = 0.005·92^((36 − n)/39) in (law from memory).

Published values: 5. They are the four figures of the law and one printed thickness, to which all of the
table is held. Tolerance: the last digit of the table.
"""

import pytest

from service.engine.quantities import GAUGE_TABLES, parse_thickness


@pytest.mark.parametrize("number", sorted(GAUGE_TABLES["aluminium"]))
def test_every_gauge_of_the_aluminium_table_follows_the_law(number):
    law = 0.005 * 92 ** ((36 - number) / 39)
    assert float(GAUGE_TABLES["aluminium"][number]) == pytest.approx(law, abs=6e-5)


def test_sixteen_gauge_aluminium_is_1_29_mm():
    # printed in two charts
    assert parse_thickness("16 ga aluminium") == 129
