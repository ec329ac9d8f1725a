"""Whatever is handed in, the verifier answers and never raises."""

from __future__ import annotations

import copy
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.verifier import Verdict, verify
from tests.engine.verifier.worked import worked_plan

SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.sampled_from((0, -1, 10**9, 10**400, -(10**400), 2**63)),
    st.floats(allow_nan=True, allow_infinity=True),
    st.text(max_size=8),
    st.sampled_from(
        ("part", "piece", "split", "x", "y", "1", "1a", "1.1", "1.²", "P1", "mill", "front stop")
    ),
)
JSONISH = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=6,
)


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """All the places in a document."""
    if isinstance(value, dict):
        inner = [place for key in value for place in places(value[key], (*path, key))]
    elif isinstance(value, list):
        inner = [place for index, one in enumerate(value) for place in places(one, (*path, index))]
    else:
        inner = []
    return [path, *inner] if path else inner


PLACES = places(worked_plan())


def damaged(document: Any, path: tuple[Any, ...], way: str, value: Any) -> None:
    """Replace, drop or double what stands at a place, when the place is still there."""
    at = document
    for key in path[:-1]:
        try:
            at = at[key]
        except (KeyError, IndexError, TypeError):
            return
    key = path[-1]
    if isinstance(at, dict) and key in at:
        if way == "drop":
            del at[key]
        else:
            at[key] = value
    elif isinstance(at, list) and isinstance(key, int) and key < len(at):
        if way == "drop":
            del at[key]
        elif way == "double":
            at.insert(key, copy.deepcopy(at[key]))
        else:
            at[key] = value


@settings(max_examples=300)
@given(
    st.lists(
        st.tuples(st.sampled_from(PLACES), st.sampled_from(("set", "drop", "double")), JSONISH),
        min_size=1,
        max_size=4,
    )
)
def test_damaged_plans_never_raise(damages: list[tuple[tuple[Any, ...], str, Any]]) -> None:
    document = worked_plan()
    for path, way, value in damages:
        damaged(document, path, way, value)
    verdict = verify(document)
    assert isinstance(verdict, Verdict)
    assert verdict.ok == (not verdict.faults)


@settings(max_examples=200)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(
                [path for path in PLACES if isinstance(path[-1], str) and path[-1].endswith(("_mm", "count"))]
            ),
            st.sampled_from((0.0, 0.01, 5.0, 45.0, 300.0, 600.0, 1e6, 1e7, -5.0)),
        ),
        min_size=1,
        max_size=5,
    )
)
def test_wild_sizes_never_raise(changes: list[tuple[tuple[Any, ...], float]]) -> None:
    document = worked_plan()
    for path, value in changes:
        damaged(document, path, "set", value)
    assert isinstance(verify(document), Verdict)


@settings(max_examples=100)
@given(JSONISH)
def test_what_is_no_plan_at_all_is_malformed(document: Any) -> None:
    verdict = verify(document)
    assert not verdict.ok
    assert set(verdict.codes()) == {"malformed"}


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf, True, "600", None, [600]])
def test_lengths_must_be_finite_numbers(number: object) -> None:
    document = worked_plan()
    document["program"][1]["gauge_mm"] = number
    (fault,) = verify(document).faults
    assert (fault.code, fault.where) == ("malformed", "/program/1/gauge_mm")


def test_bottomless_trees_are_refused() -> None:
    document = worked_plan()
    tree = document["layouts"][0]["tree"]
    for _ in range(5000):
        tree = {**document["layouts"][0]["tree"], "children": [tree]}
    document["layouts"][0]["tree"] = tree
    assert "malformed" in verify(document).codes()
