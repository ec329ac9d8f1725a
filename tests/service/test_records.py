"""Records over HTTP: revisions, references, pages; on both databases."""

from __future__ import annotations

from typing import Any

import pytest

from service.api import shop
from service.app import contract
from tests.service.shop import Service, machine, sheet
from tests.service.test_contract import problem, told

BLADE = {"id": "B-1", "machine": "bench-3m"}
MATERIAL = {
    "grade": "Our 5/4 hard",
    "family": "brass",
    "rm_low_n_mm2": 400,
    "rm_high_n_mm2": 500,
    "elongation": 0.1,
    "density_kg_m3": 8400,
    "youngs_modulus_n_mm2": 105000,
    "gap_share": [0.04, 0.06],
}
PROGRAM = {
    "id": "flange-a",
    "name": "Flange A",
    "machine": "bench-3m",
    "material": "S235JR",
    "thickness_mm": 3,
    "cut_length_mm": 2500,
    "steps": [{"gauge_mm": 300, "repeat": 2}],
}
RECORDS = [
    ("sites", "old-quay", {"id": "old-quay", "name": "Old Quay", "time_zone": "Europe/Dublin"}, "name"),
    ("machines", "bench-4m", machine("bench-4m"), "name"),
    ("materials", "Our 5/4 hard", MATERIAL, "source"),
    ("stock", "northgate/SH-B", sheet("SH-B"), "heat"),
    ("blades", "B-1", BLADE, "remark"),
    ("programs", "flange-a", PROGRAM, "operator"),
]


@pytest.mark.parametrize(("path", "key", "document", "field"), RECORDS, ids=[one[0] for one in RECORDS])
def test_a_record_lives_through_its_revisions(
    service: Service, path: str, key: str, document: dict[str, Any], field: str
) -> None:
    one = f"/{path}/{key}"
    made = service.post(f"/{path}", document)
    assert made.status_code == 201, made.text
    assert made.headers["ETag"] == '"1"'
    kept = service.http.get(
        made.headers["Location"], headers={"Authorization": f"Bearer {service.secrets['admin']}"}
    ).json
    # Besides what is kept the answer says what is unusual about it.
    assert {name: value for name, value in made.json.items() if name != "findings"} == kept
    assert ("findings" in made.json) is (path in {"machines", "materials"})
    assert problem(service.post(f"/{path}", document), 409)["type"] == "/problems/exists"
    # What was read can be sent back as it is.
    changed = {**service.get(one).json, field: "changed"}
    assert problem(service.put(one, changed), 428)["type"] == "/problems/revision-wanted"
    stale = service.put(one, changed, headers={"If-Match": '"7"'})
    assert problem(stale, 412)["revision"] == 1
    assert stale.headers["ETag"] == '"1"'
    answer = service.put(one, changed, headers={"If-Match": '"1"'})
    assert (answer.status_code, answer.headers["ETag"]) == (200, '"2"')
    problem(service.put(one, changed, headers={"If-Match": '"1"'}), 412)
    assert service.get(one).json[field] == "changed"
    problem(service.put(one, changed, headers={"If-None-Match": "*"}), 412)
    assert any(item.get(field) == "changed" for item in service.get(f"/{path}").json["items"])
    problem(service.ask("DELETE", one), 428)
    assert service.ask("DELETE", one, headers={"If-Match": '"2"'}).status_code == 204
    problem(service.get(one), 404)
    problem(service.ask("DELETE", one, headers={"If-Match": '"3"'}), 404)
    problem(service.put(one, changed, headers={"If-Match": '"2"'}), 412)
    # Made anew, its revisions go on.
    answer = service.put(one, document)
    assert (answer.status_code, answer.headers["ETag"]) == (201, '"4"')


def test_the_address_and_the_document_must_agree(shared: Service) -> None:
    assert "must agree" in told(shared.put("/machines/other", machine()))["/id"]


@pytest.mark.parametrize(
    ("path", "document", "pointer"),
    [
        ("sites", {"id": "a/b", "name": "A", "time_zone": "Europe/London"}, "/id"),
        ("sites", {"id": "a", "name": "A", "time_zone": "Europe/Nowhere"}, "/time_zone"),
        ("sites", {"id": "a", "name": "A", "time_zone": "../../etc/passwd"}, "/time_zone"),
        ("sites", {"id": "a", "name": "A", "time_zone": "Europe"}, "/time_zone"),
        ("machines", machine("m", "nowhere"), "/site"),
        ("machines", machine("m", rake={"low_deg": 2, "high_deg": 1}), "/rake/low_deg"),
        ("machines", machine("m", back_gauge=None), "/back_gauge"),
        ("machines", machine("m", blade_edges=5), "/blade_edges"),
        ("materials", {**MATERIAL, "rm_low_n_mm2": 600}, "/rm_low_n_mm2"),
        ("materials", {**MATERIAL, "elongation": 26}, "/elongation"),
        ("stock", sheet(site="nowhere"), "/site"),
        ("stock", sheet(material="S999"), "/material"),
        ("stock", sheet(quantity=-1), "/quantity"),
        ("stock", {k: v for k, v in sheet().items() if k != "site"}, "/site"),
        ("blades", {**BLADE, "machine": "none"}, "/machine"),
        ("blades", {**BLADE, "edges": 2, "edge": 3}, "/edge"),
        ("blades", {**BLADE, "used_m": [1]}, "/used_m"),
        ("programs", {**PROGRAM, "machine": "none"}, "/machine"),
        ("programs", {**PROGRAM, "steps": []}, "/steps"),
        ("programs", {**PROGRAM, "steps": [{"gauge_mm": 0}]}, "/steps/0/gauge_mm"),
    ],
)
def test_a_record_that_cannot_be_is_told_the_field(
    shared: Service, path: str, document: dict[str, Any], pointer: str
) -> None:
    errors = told(shared.post(f"/{path}", document))
    assert pointer in errors, errors


def test_a_known_grade_is_found_without_reading_every_other_one(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Each of the sheets of a shop that is loaded asks for its grade, and all other writers wait meanwhile.
    service.post("/materials", MATERIAL)
    monkeypatch.setattr(shop, "own_materials", lambda: pytest.fail("all grades were read"))
    for ref, grade in (("SH-X", MATERIAL["grade"]), ("SH-Y", "S235JR")):
        assert service.post("/stock", sheet(ref, material=grade)).status_code == 201


def test_what_others_name_cannot_go(service: Service) -> None:
    service.post("/materials", MATERIAL)
    service.post("/stock", sheet("SH-C", material=MATERIAL["grade"]))
    service.post("/blades", BLADE)
    for path in ("/sites/northgate", "/materials/Our 5/4 hard", "/machines/bench-3m"):
        answer = service.ask("DELETE", path, headers={"If-Match": "*"})
        assert "is still named by" in problem(answer, 409)["detail"]


def test_a_machine_has_one_blade_at_a_time(small: Service) -> None:
    small.post("/blades", BLADE)
    assert "'B-1' is on this machine" in told(small.post("/blades", {**BLADE, "id": "B-2"}))["/machine"]


def test_lists_come_in_pages_without_holes(service: Service) -> None:
    # Capitals come before small letters on every database.
    refs = ["b", "A", "a", "B", "Z", "é", "a-1", "SH-A"]
    for ref in refs[:-1]:
        assert service.post("/stock", sheet(ref)).status_code == 201
    found, query = [], {"limit": 3}
    while True:
        page = service.get("/stock", query_string=query).json
        found += [item["ref"] for item in page["items"]]
        if "next" not in page:
            break
        query = {"limit": 3, "cursor": page["next"]}
    assert found == sorted(refs)


def test_built_in_grades_are_listed_and_a_shops_own_takes_their_place(service: Service) -> None:
    found: list[str] = []
    query: dict[str, Any] = {"limit": 7}
    while True:
        page = service.get("/materials", query_string=query).json
        found += [item["grade"] for item in page["items"]]
        if "next" not in page:
            break
        query["cursor"] = page["next"]
    assert found == sorted(set(found))
    assert "S235JR" in found
    built_in = service.get("/materials/S235JR")
    assert built_in.headers["ETag"] == '"0"'
    own = {**built_in.json, "rm_high_n_mm2": 480}
    assert service.put("/materials/S235JR", own).status_code == 201
    assert service.get("/materials/S235JR").json["rm_high_n_mm2"] == 480
    listed = service.get("/materials", query_string={"limit": 500}).json["items"]
    assert [one["rm_high_n_mm2"] for one in listed if one["grade"] == "S235JR"] == [480]
    weaker = {"machine": "bench-3m", "material": "S235JR", "thickness": 3, "cut_length": 1000}
    assert service.post("/checks/force", weaker).json["equivalent_thickness_mm"] == pytest.approx(
        3 * (480 / 450) ** 0.5
    )


def test_an_address_of_stock_without_its_site_is_explained(small: Service) -> None:
    wrong = small.ask("PUT", "/stock/TL-S2", json=sheet("TL-S2"))
    assert wrong.status_code == 422
    assert "is site/ref, so here /v1/stock/northgate/TL-S2" in wrong.json["errors"][0]["message"]
    assert "site/ref" in small.get("/stock/TL-S2").json["detail"]
    assert "site/ref" in contract()["paths"]["/v1/stock/{key}"]["put"]["summary"]
