"""One sheet filled by value with limited copies, against the literature, on an ideal shear.

The instances are classical: OF1 (Oliveira & Ferreira 1990), 2 (Christofides & Whitlock 1977), A3 and CHL7
(Hifi 1997; Cung, Hifi & Le Cun 2000) and okp3 (Fekete & Schepers 1997), in the public data of Furini,
Malaguti & Thomopulos (INFORMS Journal on Computing 28, 2016). Who published each is from memory. The
optima for guillotine cuts, no part turned, are those of exact runs in H. Becker's thesis (2022).
"""

from __future__ import annotations

import pytest

from service.engine.layout.job import Job
from service.engine.layout.search import find_layouts
from service.engine.order import Options, Part, StockItem
from tests.benchmarks.layouts import IDEAL

Rows = list[tuple[int, ...]]

OF1: Rows = [
    (29, 5, 1), (9, 39, 4), (55, 9, 1), (31, 15, 1), (11, 16, 2), (23, 21, 3), (29, 14, 4), (16, 19, 3),
    (9, 36, 2), (22, 4, 2),
]  # fmt: skip
TWO: Rows = [
    (21, 22, 1, 582), (31, 13, 1, 403), (9, 35, 3, 315), (9, 24, 3, 216), (30, 7, 2, 210),
    (11, 13, 3, 143), (10, 14, 1, 140), (14, 8, 3, 110), (12, 8, 3, 94), (13, 7, 3, 90),
]  # fmt: skip
A3: Rows = [
    (29, 41, 1), (31, 43, 2), (32, 39, 1), (27, 38, 4), (28, 37, 3), (29, 36, 2), (35, 35, 3),
    (26, 34, 4), (31, 24, 2), (22, 33, 2), (31, 22, 3), (29, 21, 4), (19, 27, 2), (18, 24, 2),
    (17, 25, 2), (17, 24, 2), (25, 17, 1), (21, 16, 2), (19, 15, 3), (15, 14, 1),
]  # fmt: skip
CHL7: Rows = [
    (28, 39, 4), (23, 29, 2), (37, 41, 1), (25, 31, 3), (45, 27, 2), (49, 31, 7), (41, 23, 2),
    (24, 41, 2), (31, 31, 1), (37, 22, 1), (19, 54, 1), (47, 35, 2), (38, 31, 3), (21, 27, 1),
    (29, 53, 1), (33, 41, 4), (37, 42, 5), (29, 29, 2), (57, 27, 3), (31, 43, 1), (30, 41, 2),
    (29, 39, 1), (28, 38, 2), (37, 37, 3), (26, 36, 2), (45, 35, 1), (24, 34, 1), (33, 23, 2),
    (42, 32, 3), (25, 32, 2), (41, 18, 2), (19, 21, 3), (21, 34, 1), (39, 19, 2),
]  # fmt: skip
OKP3: Rows = [
    (3, 98, 1, 756), (34, 36, 1, 2712), (100, 6, 1, 1633), (49, 26, 1, 2332), (14, 56, 1, 2187),
    (100, 3, 1, 470), (10, 90, 1, 1569), (23, 95, 1, 4947), (10, 97, 1, 2757), (50, 47, 1, 4274),
    (41, 45, 1, 4347), (13, 12, 1, 396), (19, 68, 1, 3866), (50, 46, 1, 5447), (23, 70, 1, 2904),
    (28, 82, 1, 6032), (12, 65, 1, 1799), (9, 86, 1, 929), (21, 96, 1, 5186), (19, 64, 1, 2120),
    (21, 75, 1, 1629), (45, 26, 1, 2059), (19, 77, 1, 2583), (5, 84, 1, 953), (16, 21, 1, 1000),
    (23, 69, 1, 2900), (5, 89, 1, 1102), (22, 63, 1, 2234), (41, 6, 1, 458), (76, 30, 1, 5458),
]  # fmt: skip


@pytest.mark.parametrize(
    ("sheet", "rows", "optimum"),
    [
        pytest.param((70, 40), OF1, 2737, id="OF1"),
        pytest.param((40, 70), TWO, 2892, id="2"),
        pytest.param((70, 80), A3, 5451, id="A3"),
        pytest.param((130, 130), CHL7, 16881, id="CHL7"),
        pytest.param((100, 100), OKP3, 24019, id="okp3"),
    ],
)
def test_the_published_optimum_is_cut_and_proved(sheet: tuple[int, int], rows: Rows, optimum: int) -> None:
    # Where no value is published beside the sizes, a part is worth its area.
    parts = tuple(
        Part(
            f"P{i}", row[0] * 100, row[1] * 100, row[2], "S235JR", 300, "along",
            value=row[3] if len(row) > 3 else row[0] * row[1],
        )
        for i, row in enumerate(rows)
    )  # fmt: skip
    stock = StockItem("S", sheet[0] * 100, sheet[1] * 100, 1, "S235JR", 300, edges="cut", oversize=0)
    options = Options(objective="value", max_stages=60, trim=0)
    found = find_layouts(Job(IDEAL, parts, (stock,), options, IDEAL.cutting_length))
    left = {one.ref: one.quantity for one in found.unplaced}
    got = sum((part.quantity - left.get(part.ref, 0)) * (part.value or 0) for part in parts)
    assert got == found.bound.value == optimum
    assert not found.stopped_early
