"""Student's t as printed in every table of it, two-sided; here from memory of such a table.

Published values: 10. Tolerance: half of the last printed digit.
"""

import pytest

from service.engine.student import student_quantile

TABLE = [
    (0.95, 1, 12.706),
    (0.95, 2, 4.303),
    (0.95, 3, 3.182),
    (0.95, 4, 2.776),
    (0.95, 9, 2.262),
    (0.95, 10, 2.228),
    (0.95, 30, 2.042),
    (0.95, 120, 1.980),
    (0.99, 5, 4.032),
    (0.90, 8, 1.860),
]


@pytest.mark.parametrize(("confidence", "freedom", "t"), TABLE)
def test_the_quantile_is_the_printed_one(confidence, freedom, t):
    assert student_quantile(confidence, freedom) == pytest.approx(t, abs=0.0005)
