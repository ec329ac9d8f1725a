"""Critical values of χ² as in any table of it (NIST/SEMATECH e-Handbook, 1.3.6.7.4); typed from memory.

Published values: 12. Tolerance: half of the last digit printed.
"""

import pytest

from service.engine.chi_square import chi_square_quantile


@pytest.mark.parametrize(
    ("freedom", "probability", "value"),
    [
        (1, 0.95, 3.841),
        (2, 0.95, 5.991),
        (4, 0.95, 9.488),
        (5, 0.95, 11.070),
        (9, 0.95, 16.919),
        (10, 0.95, 18.307),
        (30, 0.95, 43.773),
        (1, 0.99, 6.635),
        (10, 0.99, 23.209),
        (5, 0.05, 1.145),
        (10, 0.05, 3.940),
        (30, 0.05, 18.493),
    ],
)
def test_the_printed_values(freedom, probability, value):
    assert chi_square_quantile(probability, freedom) == pytest.approx(value, abs=5.1e-4)
