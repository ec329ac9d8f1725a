"""Equal input gives an equal plan under one engine version: a change of plans needs a new version."""

import hashlib
import json
from pathlib import Path

from schemas.orders import read_order
from schemas.records import MachineSchema, MaterialSchema, StockSchema
from service.engine import ENGINE_VERSION
from service.engine.fingerprint import canonical_json
from service.engine.order import Order
from service.engine.planner import plan

DEMO = Path(__file__).resolve().parents[2] / "deploy" / "demo"

RECORDED = ("0.6.0", "d40abd2ad2f6a76b52b3fcb1af238c58a2acef2b4c6b778d9e635b2bc969aa44")
"""The engine version, and the hash of what it plans for the orders below.

When the test fails, plans have changed. If that is meant: raise ``ENGINE_VERSION`` in
``service/engine/__init__.py``, note it under Changes in the README, and record both here anew.
"""


def orders() -> list[Order]:
    """The demo order on each machine of the demo shop, with quick effort to keep this short."""
    shop = json.loads((DEMO / "shop.json").read_text(encoding="utf-8"))
    document = json.loads((DEMO / "order.json").read_text(encoding="utf-8"))
    machines = {one["id"]: MachineSchema().load(one) for one in shop["machines"]}
    materials = MaterialSchema(many=True).load(shop["materials"])
    rack = [StockSchema().load({k: v for k, v in one.items() if k != "site"}) for one in shop["stock"]]
    return [
        read_order(
            {**document, "machine": machine, "options": {**document.get("options", {}), "effort": "quick"}},
            machine_named=machines.get,
            own_materials=materials,
            stock_at=lambda _: rack,
        )
        for machine in sorted(machines)
    ]


def digest() -> str:
    """Over whole numbers only: layouts, and of each step what the operator sets and takes."""
    made = [plan(order) for order in orders()]
    told = [
        [
            [[one.stock_ref, one.repeat, repr(one.tree)] for one in each.layouts],
            [[s.piece, s.pieces, s.gauging, s.gauge, s.repeat, s.gang, s.turn] for s in each.program],
            [[one.ref, one.quantity, one.code] for one in each.unplaced],
        ]
        for each in made
    ]
    return hashlib.sha256(canonical_json(told)).hexdigest()


def test_plans_change_only_with_the_engine_version() -> None:
    assert (ENGINE_VERSION, digest()) == RECORDED, "see RECORDED in this file"
