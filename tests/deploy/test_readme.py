"""What the README shows of the demo plan is what comes."""

import json
import re
from pathlib import Path

from client.cli_shear import USUAL_GRADES
from schemas.orders import read_order
from schemas.records import MachineSchema, MaterialSchema, StockSchema
from service.drawing.curves import capacity_svg, force_svg
from service.drawing.text import program_text
from service.engine.materials_table import material_named
from service.engine.planner import plan

ROOT = Path(__file__).resolve().parents[2]


def test_the_program_in_the_readme_is_the_one_that_is_planned() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(r"<!-- plan -->\n```\n(.*?)\n…\n```", readme, re.DOTALL)
    assert found
    shop = json.loads((ROOT / "deploy/demo/shop.json").read_text(encoding="utf-8"))
    document = json.loads((ROOT / "deploy/demo/order.json").read_text(encoding="utf-8"))
    machines = {one["id"]: MachineSchema().load(one) for one in shop["machines"]}
    stock = [(one.pop("site"), StockSchema().load(one)) for one in shop["stock"]]
    order = read_order(
        document,
        machine_named=machines.get,
        own_materials=MaterialSchema(many=True).load(shop["materials"]),
        stock_at=lambda machine: [item for site, item in stock if site == machine.site],
    )
    assert program_text(plan(order), order).startswith(found[1] + "\n")


def test_the_curves_in_the_readme_are_those_that_are_drawn() -> None:
    """`shearwright curves bench-3m` writes the same two pictures."""
    shop = json.loads((ROOT / "deploy/demo/shop.json").read_text(encoding="utf-8"))
    shear = next(MachineSchema().load(one) for one in shop["machines"] if one["id"] == "bench-3m")
    grades = [material_named(grade) for grade in USUAL_GRADES]
    drawn = {"capacity": capacity_svg(shear, grades), "force": force_svg(shear, grades[0])}
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name, picture in drawn.items():
        kept = f"deploy/demo/bench-3m-{name}.svg"
        assert f"]({kept})" in readme
        assert (ROOT / kept).read_text(encoding="utf-8") == picture
