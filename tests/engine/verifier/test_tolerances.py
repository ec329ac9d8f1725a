"""The verifier's own table of general tolerances."""

from decimal import Decimal

import pytest

from service.engine.verifier.facts import Wanted
from service.engine.verifier.tolerances import allowed


def part(tolerance_class: str, limits: tuple[int | None, int | None] = (None, None)) -> Wanted:
    return Wanted("P1", 60000, 30000, 1, "S235JR", 300, "any", tolerance_class, limits, Decimal(0))


@pytest.mark.parametrize(
    ("tolerance_class", "size_mm", "deviation_mm"),
    # ISO 2768-1:1989, table 1, "over … up to and including"
    [
        ("m", 500, 0.8),
        ("m", 350, 0.5),
        ("m", 400, 0.5),
        ("m", 400.01, 0.8),
        ("m", 4000, 2),
        ("c", 1500, 3),
        ("c", 5, 0.3),
        ("v", 2500, 8),
        ("f", 30, 0.1),
        ("f", 2000, 0.5),
    ],
)
def test_general_tolerances_are_those_of_the_standard(
    tolerance_class: str, size_mm: float, deviation_mm: float
) -> None:
    assert allowed(part(tolerance_class), round(100 * size_mm)) == round(100 * deviation_mm)


def test_own_limits_win_and_the_smaller_one_counts() -> None:
    assert allowed(part("c", (30, 10)), 150000) == 10
    assert allowed(part("c", (None, 10)), 150000) == 10
