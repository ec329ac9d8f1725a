"""Layouts and bounds against the literature, on an ideal shear: no clamping, no trims, no gauge limits.

Instances and who published them: `tests/reference/instances`. Sheets needed: for set A and the CLASS
instances the optima of exact guillotine runs in H. Becker's thesis (2022); for gcut1d the 294 of Cintra
et al. and of Chen, Cui & Chen (2016), equal to the bound of Gilmore and Gomory.
"""

from __future__ import annotations

import pytest

from service.engine.layout.job import Found, Job
from service.engine.layout.search import find_layouts
from service.engine.machine import Machine
from service.engine.order import Options, Part, StockItem
from tests.reference.published import entry

Data = tuple[tuple[int, int], list[tuple[int, int, int]]]


def data(file: str, name: str) -> Data:
    one = entry(file, name)
    sheet = one["sheets"][0]
    return (sheet["length"], sheet["width"]), [(i["l"], i["w"], i["demand"]) for i in one["items"]]


A01, A03, A07, A43 = (data("cutting_stock_furniture", name) for name in ("A01", "A03", "A07", "A43"))
GCUT1D = data("cutting_stock_gcut", "gcut1d")
CLASS01_020_01, CLASS03_020_01 = (
    data("bin_packing_classes", name) for name in ("CLASS01_020_01", "CLASS03_020_01")
)


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
