"""The demo shop and its order: as the contract wants them, and showing what they are there to show."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from client.orders.read import read_order_file
from schemas.orders import read_order
from schemas.shop import ShopSchema
from service.drawing.svg import layout_svg
from service.engine.order import Order
from service.engine.planner import plan

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "deploy" / "demo"


def shop() -> dict:
    return ShopSchema().load(json.loads((DEMO / "shop.json").read_text(encoding="utf-8")))


def resolved(document: dict) -> Order:
    held = shop()
    return read_order(
        document,
        machine_named={machine.id: machine for machine in held["machines"]}.get,
        own_materials=held["materials"],
        stock_at=lambda machine: [one.item for one in held["stock"] if one.site == machine.site],
    )


def test_the_shop_file_keeps_the_contract_and_names_only_what_it_holds() -> None:
    held = shop()
    sites = {site.id for site in held["sites"]}
    machines = {machine.id for machine in held["machines"]}
    assert sites == {"northgate", "old-quay", "fell-road"}
    assert {machine.site for machine in held["machines"]} == sites
    assert {one.site for one in held["stock"]} == sites
    assert {blade.machine for blade in held["blades"]} == machines
    assert any(not machine.rake.fixed for machine in held["machines"])


def test_the_table_and_the_request_hold_the_same_parts() -> None:
    request = json.loads((DEMO / "order.json").read_text(encoding="utf-8"))
    table = read_order_file(DEMO / "order.csv", machine="hand-gauge-25", order_ref="W-1042")
    assert resolved(table.document).parts == resolved(request).parts


def test_the_demo_order_shows_grain_two_thicknesses_and_a_part_that_cannot_be_made() -> None:
    order = resolved(json.loads((DEMO / "order.json").read_text(encoding="utf-8")))
    assert 8 <= len(order.parts) <= 12
    assert len({part.thickness for part in order.parts}) == 2
    made = plan(order)
    assert [(one.ref, one.quantity) for one in made.unplaced] == [("FR-200-05", 2)]
    assert made.summary.parts == sum(part.quantity for part in order.parts) - 2
    along = {part.ref for part in order.parts if part.grain == "along"}
    assert along
    pictures = [layout_svg(made, order, layout.number) for layout in made.layouts]
    for ref in along:
        assert any(f'data-ref="{ref}"' in svg for svg in pictures)


@pytest.mark.parametrize("script", ["deploy/try", "deploy/test", ".ci/run"])
def test_scripts_are_bash_that_can_be_read_and_run(script: str) -> None:
    path = ROOT / script
    assert path.stat().st_mode & 0o111, f"{script} cannot be run"
    text = path.read_text(encoding="utf-8")
    assert text.startswith("#!/usr/bin/env bash\n")
    assert "set -euo pipefail" in text
    subprocess.run(["bash", "-n", str(path)], check=True)
