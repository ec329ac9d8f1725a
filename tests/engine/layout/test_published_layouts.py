"""Layouts and bounds against the literature, on an ideal shear: no clamping, no trims, no gauge limits.

Data: set A of 2DPackLib (Iori, de Lima, Martello & Monaci 2022; furniture orders of Macedo, Alves &
Valério de Carvalho 2010), and gcut with demands (Beasley 1985; Cintra, Miyazawa, Wakabayashi & Xavier,
EJOR 191, 2008, 61-85), and CLASS 1 and 3 (Berkey & Wang 1987) in 2DPackLib. Sheets needed: for set A
and the CLASS instances the optima of exact guillotine runs in H. Becker's thesis (2022); for gcut1d the
294 of Cintra et al. and of Chen, Cui & Chen (2016), equal to the bound of Gilmore and Gomory.
"""

from __future__ import annotations

import pytest

from service.engine.layout.job import Found, Job
from service.engine.layout.search import find_layouts
from service.engine.machine import Machine
from service.engine.order import Options, Part, StockItem

Data = tuple[tuple[int, int], list[tuple[int, int, int]]]

A01: Data = ((2750, 1220), [(463, 386, 18), (1680, 420, 6)])
A03: Data = ((2750, 1220), [(463, 386, 1), (2117, 475, 16)])
A07: Data = (
    (2750, 1220),
    [(706, 286, 8), (706, 516, 16), (986, 433, 10), (1120, 486, 12), (1120, 986, 12)],
)
A43: Data = (
    (2750, 1220),
    [
        (228, 210, 2), (623, 426, 1), (986, 433, 4), (987, 705, 1), (1120, 486, 2), (1181, 733, 4),
        (1236, 143, 2), (1780, 740, 1), (1903, 486, 2), (2040, 320, 1), (2357, 935, 2),
    ],
)  # fmt: skip
GCUT1D: Data = (
    (250, 250),
    [
        (167, 184, 90), (114, 118, 75), (167, 152, 71), (83, 140, 13), (70, 86, 39), (143, 166, 79),
        (120, 160, 63), (66, 148, 93), (87, 141, 61), (69, 165, 85),
    ],
)  # fmt: skip
CLASS01_020_01: Data = (
    (10, 10),
    [
        (5, 9, 1), (4, 2, 1), (10, 6, 1), (5, 7, 1), (6, 3, 1), (10, 7, 1), (1, 5, 1), (3, 5, 1), (6, 9, 1),
        (2, 4, 1), (6, 7, 1), (7, 2, 1), (8, 3, 3), (4, 10, 1), (4, 5, 1), (10, 3, 1), (7, 8, 1), (8, 7, 1),
    ],
)  # fmt: skip
CLASS03_020_01: Data = (
    (40, 40),
    [
        (18, 30, 1), (13, 5, 1), (33, 19, 1), (17, 22, 1), (18, 9, 1), (34, 24, 1), (1, 16, 1), (9, 15, 1),
        (19, 31, 1), (4, 11, 1), (19, 23, 1), (24, 4, 1), (27, 9, 1), (13, 33, 1), (13, 15, 1), (34, 9, 1),
        (27, 10, 1), (22, 28, 1), (26, 11, 1), (25, 25, 1),
    ],
)  # fmt: skip


def found(ideal: Machine, data: Data, rotated: bool) -> Found:
    (length, width), items = data
    parts = tuple(
        Part(f"P{i}", a * 100, b * 100, n, "S235JR", 300, "any" if rotated else "along")
        for i, (a, b, n) in enumerate(items)
    )
    stock = (StockItem("A", length * 100, width * 100, 999, "S235JR", 300, edges="cut", oversize=0),)
    return find_layouts(Job(ideal, parts, stock, Options(max_stages=9, trim=0), ideal.cutting_length))


@pytest.mark.parametrize(
    ("data", "rotated", "optimum", "over"),
    [
        pytest.param(A01, False, 3, 0, id="A01 fixed"),
        pytest.param(A01, True, 3, 0, id="A01 turned"),
        pytest.param(A03, False, 8, 0, id="A03 fixed"),
        pytest.param(A03, True, 8, 0, id="A03 turned"),
        pytest.param(A07, False, 13, 0, id="A07 fixed"),
        pytest.param(A43, False, 7, 0, id="A43 fixed"),
        pytest.param(A43, True, 6, 0, id="A43 turned"),
        pytest.param(GCUT1D, False, 294, 1, id="gcut1d fixed"),
        pytest.param(CLASS01_020_01, False, 8, 0, id="CLASS01_020_01 fixed"),
        pytest.param(CLASS01_020_01, True, 7, 1, id="CLASS01_020_01 turned"),
        pytest.param(CLASS03_020_01, False, 6, 0, id="CLASS03_020_01 fixed"),
        pytest.param(CLASS03_020_01, True, 5, 1, id="CLASS03_020_01 turned"),
    ],
)
def test_layouts_and_bound_meet_at_the_published_optimum(
    ideal: Machine, data: Data, rotated: bool, optimum: int, over: int
) -> None:
    answer = found(ideal, data, rotated)
    used = sum(division.repeat for division in answer.divisions)
    assert answer.unplaced == ()
    assert answer.bound.pieces <= optimum <= used <= optimum + over


def test_the_bound_alone_proves_some_published_optima(ideal: Machine) -> None:
    for data, optimum in ((A03, 8), (A07, 13), (GCUT1D, 294)):
        assert found(ideal, data, False).bound.pieces == optimum
