"""Manufacturers' Standard Gauge for steel sheet: 41.82 lb/ft² for an inch of thickness.

10 gauge weighs 5.625 lb/ft² (90 oz/ft²), 16 gauge 40 oz/ft², 20 gauge 24 oz/ft²; thickness follows
from the weight. Millimetres of 10 and 16 gauge: 3.416 and 1.519 (two charts).

Published values: 7. Tolerance: the last printed digit.
"""

import pytest

from service.engine.quantities import GAUGE_TABLES, parse_thickness


@pytest.mark.parametrize(("number", "ounces"), [(10, 90), (16, 40), (20, 24)])
def test_thickness_follows_from_the_weight(number, ounces):
    assert float(GAUGE_TABLES["steel"][number]) == pytest.approx(ounces / 16 / 41.82, abs=6e-5)


def test_ten_gauge_weighs_5_625_pounds():
    assert float(GAUGE_TABLES["steel"][10]) * 41.82 == pytest.approx(5.625, abs=0.001)


@pytest.mark.parametrize(("written", "hundredths"), [("10 ga steel", 342), ("16 ga steel", 152)])
def test_the_millimetres_of_the_charts(written, hundredths):
    assert parse_thickness(written) == hundredths


def test_sixteen_gauge_stainless_is_a_sixteenth_of_an_inch():
    assert parse_thickness("16 ga stainless") == 159  # 1.5875 mm
