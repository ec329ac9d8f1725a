"""The verifier's own table of general tolerances."""

from decimal import Decimal

import pytest

from service.engine.verifier.facts import Wanted
from service.engine.verifier.tolerances import aim, allowed


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
    assert allowed(part("c", (10, 10)), 150000) == 10
    assert allowed(part("c", (None, 10)), 150000) == 10


@pytest.mark.parametrize(
    ("limits", "aim_for", "deviation"),
    # Class f allows ±0.5 over 1000 up to 2000 mm.
    [((50, 0), 149_975, 25), ((0, 900), 150_050, 50), ((60, 80), 150_000, 60), ((40, 40), 150_000, 40)],
)
def test_limits_that_differ_move_the_size_that_is_cut_for(
    limits: tuple[int, int], aim_for: int, deviation: int
) -> None:
    assert aim(part("c", limits), 150_000) == aim_for
    assert allowed(part("c", limits), 150_000) == deviation
