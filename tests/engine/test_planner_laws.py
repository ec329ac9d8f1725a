"""Laws that every plan keeps, whatever the order and the machine.

Each plan goes over the wire and is replayed by the verifier, which shares no code with the planner.
``SHEARWRIGHT_EXAMPLES`` sets the number of examples of each law (default 150).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from schemas.plans import read_plan, write_plan
from service.engine.order import Order
from service.engine.plan import CutPlan
from service.engine.planner import plan
from service.engine.verifier import verify
from tests.strategies import hard_machines, ideal_machines, medium_orders, small_orders

EXAMPLES = int(os.environ.get("SHEARWRIGHT_EXAMPLES", "150"))
pytestmark = pytest.mark.timeout(max(300, 2 * EXAMPLES))
ROOT = Path(__file__).resolve().parents[2]


def over_the_wire(found: CutPlan, order: Order) -> dict[str, Any]:
    """The document as another program gets it."""
    document: dict[str, Any] = json.loads(json.dumps(write_plan(found, order)))
    return document


def complaint(document: dict[str, Any]) -> str:
    """What the verifier has against a document, readable."""
    return "\n".join(f"{fault.code} {fault.where}: {fault.message}" for fault in verify(document).faults)


@settings(max_examples=EXAMPLES)
@given(small_orders(ideal_machines()))
def test_plans_for_an_ideal_shear_pass_the_replay(order: Order) -> None:
    assert complaint(over_the_wire(plan(order), order)) == ""


@settings(max_examples=2 * EXAMPLES)
@given(small_orders(hard_machines()))
def test_plans_for_a_hard_shear_pass_the_replay(order: Order) -> None:
    assert complaint(over_the_wire(plan(order), order)) == ""


@settings(max_examples=max(1, EXAMPLES // 5))
@given(medium_orders())
def test_plans_for_larger_orders_pass_the_replay(order: Order) -> None:
    assert complaint(over_the_wire(plan(order), order)) == ""


@settings(max_examples=max(1, EXAMPLES // 2))
@given(small_orders())
def test_demand_is_met_exactly_or_stated_as_unplaced(order: Order) -> None:
    found = plan(order)
    made: Counter[str] = Counter()
    for step in found.program:
        for one in (*step.drops, *step.remainders):
            if one.kind == "part" and one.ref is not None:
                made[one.ref] += one.count
    whole = [layout for layout in found.layouts if not hasattr(layout.tree, "children")]
    for layout in whole:
        ref = getattr(layout.tree, "ref", None)
        if ref is not None:
            made[ref] += layout.repeat
    lacking = Counter({part.ref: 0 for part in order.parts})
    for one in found.unplaced:
        lacking[one.ref] += one.quantity
    assert {part.ref: part.quantity for part in order.parts} == {
        part.ref: made[part.ref] + lacking[part.ref] for part in order.parts
    }


@settings(max_examples=max(1, EXAMPLES // 5))
@given(medium_orders())
def test_sheets_are_numbered_as_they_are_taken_up(order: Order) -> None:
    found = plan(order)
    assert [layout.number for layout in found.layouts] == list(range(1, 1 + len(found.layouts)))
    cut = list(dict.fromkeys(step.layout for step in found.program))
    assert cut == sorted(cut)


@settings(max_examples=max(1, EXAMPLES // 5))
@given(small_orders())
def test_the_same_order_gives_the_same_plan(order: Order) -> None:
    assert plan(order) == plan(order)


@settings(max_examples=max(1, EXAMPLES // 3))
@given(small_orders())
def test_a_plan_document_reads_back_equal(order: Order) -> None:
    found = plan(order)
    assert read_plan(over_the_wire(found, order)) == (found, order)


_ELSEWHERE = """
import json, sys
from schemas.orders import read_order
from schemas.plans import write_plan
from service.engine.planner import plan
for line in sys.stdin:
    order = read_order(json.loads(line), machine_named=lambda _: None, made_before=True)
    print(json.dumps(write_plan(plan(order), order)))
"""


@settings(max_examples=3, phases=(Phase.explicit, Phase.generate))  # each example starts two processes
@given(small_orders(), medium_orders())
def test_another_process_with_another_hash_order_and_processor_gives_the_same_bytes(
    small: Order, medium: Order
) -> None:
    here = [json.dumps(write_plan(plan(order), order)) for order in (small, medium)]
    asked = "\n".join(json.dumps(json.loads(text)["order"]) for text in here)
    # NumPy picks its loops by what the processor can do; without them it is an older processor.
    for hash_order, lacks in (("1", ""), ("4242", "X86_V3 X86_V4 AVX2 AVX512F AVX512_SKX")):
        done = subprocess.run(
            [sys.executable, "-c", _ELSEWHERE],
            input=asked,
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": hash_order, "NPY_DISABLE_CPU_FEATURES": lacks},
        )
        assert done.stdout.splitlines() == here


def numbers_that_count(document: dict[str, Any]) -> list[tuple[dict[str, Any], str]]:
    """Sizes and counts of a plan that follow from its cuts, so that not one may be another."""
    found: list[tuple[dict[str, Any], str]] = []
    for step in document["program"]:
        sizes = ("along_blade_mm", "depth_mm", "gauge_mm")
        found += [(step, name) for name in (*sizes, "pieces", "repeat", "strokes")]
        for one in (*step["drop_to"], *step["remainder_to"]):
            found += [(one, name) for name in ("length_mm", "width_mm", "count")]
    for layout in document["layouts"]:
        found.append((layout, "repeat"))
        for placed in layout["placements"]:
            found += [(placed, name) for name in ("x_mm", "y_mm", "length_mm", "width_mm")]
    found += [(part, "quantity") for part in document["order"]["parts"]]
    return found


@settings(max_examples=max(1, EXAMPLES // 2))
@given(small_orders(ideal_machines()), st.data())
def test_a_plan_that_was_changed_anywhere_is_found_out(order: Order, data: st.DataObject) -> None:
    document = over_the_wire(plan(order), order)
    target, name = data.draw(st.sampled_from(numbers_that_count(document)))
    by = data.draw(st.sampled_from((1, -1)))
    old = target[name]
    target[name] = round(old + by / 100, 2) if name.endswith("_mm") else old + by
    assert not verify(document).ok, f"{name} was {old} and is {target[name]}"
