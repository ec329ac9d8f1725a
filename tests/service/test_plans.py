"""Plans over HTTP: made once, kept under what they answer, shown; on both databases."""

from __future__ import annotations

import csv
import io
from typing import Any
from xml.etree import ElementTree as ET

from schemas.orders import read_order
from schemas.plans import read_plan, write_plan
from schemas.records import MachineSchema
from service.drawing.text import ROW_HEAD
from service.engine.fingerprint import fingerprint
from service.engine.planner import plan
from tests.service.shop import Service, machine, order, sheet
from tests.service.test_contract import problem


def test_a_plan_is_made_once_and_kept_under_its_fingerprint(service: Service) -> None:
    made = service.post("/plans", order(), "plan")
    assert made.status_code == 201, made.text
    document = made.json
    assert document["id"] == document["fingerprint"][:16]
    assert made.headers["Location"] == f"/v1/plans/{document['id']}"
    again = service.post("/plans", order(), "plan")
    assert (again.status_code, again.data) == (200, made.data)
    assert service.get(f"/plans/{document['id']}", "plan").data == made.data
    (listed,) = service.get("/plans").json["items"]
    assert listed["order_ref"] == "W-1042"
    changed = service.get("/sync/changes", "station").json["changes"][-1]
    assert (changed["kind"], changed["id"], changed["record"]) == ("plan", document["id"], document)


def test_the_service_plans_what_the_engine_plans(small: Service) -> None:
    """The worked example of a shop: eight blanks of 600 × 300 come from one sheet of 2500 × 1250."""
    document = small.post("/plans", order()).json
    stock = {name: value for name, value in sheet().items() if name != "site"}
    alone = read_order({**order(), "machine": machine(), "stock": [stock]}, machine_named=lambda _: None)
    assert document["fingerprint"] == fingerprint(alone)
    assert document == write_plan(plan(alone), alone, fingerprint(alone)[:16])
    made, back = read_plan(document)
    assert back == alone
    assert made.summary.parts + sum(left.quantity for left in made.unplaced) == 8


def test_the_stock_of_the_machines_site_is_used_and_only_what_is_left(small: Service) -> None:
    small.post("/stock", sheet("SH-F", "fell-road"))
    small.post("/stock", sheet("SH-0", quantity=0))
    document = small.post("/plans", order()).json
    assert [item["ref"] for item in document["order"]["stock"]] == ["SH-A"]


def test_other_stock_is_another_plan(small: Service) -> None:
    first = small.post("/plans", order()).json["id"]
    small.put("/stock/northgate/SH-A", sheet(quantity=7), headers={"If-Match": '"1"'})
    second = small.post("/plans", order())
    assert second.status_code == 201
    assert second.json["id"] != first
    assert small.ask("DELETE", f"/plans/{first}").status_code == 204
    assert [one["id"] for one in small.get("/plans").json["items"]] == [second.json["id"]]


def test_a_plan_is_shown_as_drawing_text_and_table(small: Service) -> None:
    document = small.post("/plans", order()).json
    one = f"/plans/{document['id']}"
    text = small.get(f"{one}/program.txt")
    assert text.content_type == "text/plain; charset=utf-8"
    assert "W-1042" in text.text
    table = small.get(f"{one}/program.csv")
    rows = list(csv.reader(io.StringIO(table.text)))
    assert rows[0] == list(ROW_HEAD)
    assert len(rows) == 1 + len(document["program"])
    drawing = small.get(f"{one}/drawing.svg")
    assert drawing.status_code == (200 if document["layouts"] else 404)
    if document["layouts"]:
        assert drawing.content_type.startswith("image/svg+xml")
        assert ET.fromstring(drawing.text).tag.endswith("svg")
    last = len(document["layouts"]) + 1
    assert "no layout" in problem(small.get(f"{one}/drawing.svg?layout={last}"), 404)["detail"]


def test_a_plan_posted_with_a_key_is_answered_again_under_it(service: Service) -> None:
    key = {"Idempotency-Key": "order-1"}
    first = service.post("/plans", order(), headers=key)
    again = service.post("/plans", order(), headers=key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.data == again.data
    other: Any = service.post("/plans", order(order_ref="W-2"), headers=key)
    assert problem(other, 422)["type"] == "/problems/key-reused"


def test_a_machine_profile_may_come_with_the_order(small: Service) -> None:
    stock = [{name: value for name, value in sheet().items() if name != "site"}]
    answer = small.post("/plans", order(machine=machine("guest", None), stock=stock))
    assert answer.status_code == 201
    assert MachineSchema().load(answer.json["order"]["machine"]).id == "guest"


def test_a_comparison_keeps_each_of_its_plans_under_its_own_id(small: Service) -> None:
    asked = {**order(), "options": {"objective": "compare", "effort": "quick", "max_stages": 3}}
    sizes = ((600, 300, 5), (410, 230, 9), (655, 175, 7), (820, 440, 3), (390, 120, 8), (505, 340, 4))
    asked["parts"] = [
        {
            "ref": f"P{number}",
            "length": length,
            "width": width,
            "quantity": quantity,
            "material": "S235JR",
            "thickness": 3,
        }
        for number, (length, width, quantity) in enumerate(sizes, 1)
    ]
    made = small.post("/plans", asked)
    assert made.status_code == 201, made.text
    others = made.json["alternatives"]
    assert others
    for other in others:
        kept = small.get(f"/plans/{other['id']}").json
        assert (kept["id"], kept["summary"]) == (other["id"], other["summary"])
        again = {**asked, "options": {**asked["options"], "pick": other["pick"]}}
        posted = small.post("/plans", again)
        assert (posted.status_code, posted.json) == (200, kept)
    again = small.post("/plans", asked)
    assert (again.status_code, again.data) == (200, made.data)
    assert small.ask("DELETE", f"/plans/{others[0]['id']}").status_code == 204
    assert small.post("/plans", asked).json == made.json
    assert small.get(f"/plans/{others[0]['id']}").status_code == 200


def test_a_plan_that_a_comparison_does_not_have_is_refused(small: Service) -> None:
    asked = {**order(), "options": {"objective": "compare", "effort": "quick", "pick": 4}}
    told = problem(small.post("/plans", asked), 422)
    assert told["errors"][0]["pointer"] == "/options/pick"
    # One kind of blank on one size of sheet: whatever is tried comes to the same plan.
    assert told["errors"][0]["message"] == "the comparison has 1 plan, counted from 0, and no plan 4"
    asked["options"] = {"objective": "material", "pick": 1}
    told = problem(small.post("/plans", asked), 422)
    assert "objective compare" in told["errors"][0]["message"]


def test_the_least_cost_wants_a_price_for_all_stock(small: Service) -> None:
    stock = [{"ref": "A", "length": 2500, "width": 1250, "quantity": 3, "material": "S235JR", "thickness": 3}]
    told = problem(small.post("/plans", {**order(), "stock": stock, "options": {"objective": "cost"}}), 422)
    assert told["errors"][0]["pointer"] == "/options/objective"
    assert "'A' has none" in told["errors"][0]["message"]
