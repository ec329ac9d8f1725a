"""The contract as OpenAPI: checked in, and what the service really does."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from schemas.payloads import PAYLOADS
from service.app import all_operations, contract
from tests.service.shop import Service

DOCUMENT = Path(__file__).parents[2] / "schemas" / "openapi.json"


def test_the_document_that_is_checked_in_is_that_of_the_code() -> None:
    """When this fails: shearwright-service openapi --output schemas/openapi.json, and read the difference."""
    assert json.loads(DOCUMENT.read_text(encoding="utf-8")) == json.loads(json.dumps(contract()))


def test_it_is_served_to_everybody(shared: Service) -> None:
    answer = shared.get("/openapi.json", None)
    assert answer.json["openapi"] == "3.1.0"
    assert answer.json == json.loads(json.dumps(contract()))


def test_every_route_is_in_it_and_says_who_may(shared: Service) -> None:
    document = contract()
    routes = {
        (method, re.sub(r"<(?:path:)?(\w+)>", r"{\1}", rule.rule))
        for rule in shared.app.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD"}
    }
    told = {(method.upper(), path) for path, methods in document["paths"].items() for method in methods}
    assert told == routes
    assert document["components"]["securitySchemes"]["bearer"]["scheme"] == "bearer"
    for operation in all_operations():
        path = re.sub(r"<(?:path:)?(\w+)>", r"{\1}", operation.path)
        entry = document["paths"][f"/v1{path}"][operation.method.lower()]
        assert bool(entry["security"]) == bool(operation.scopes)
        assert "application/problem+json" in entry["responses"]["default"]["content"]


def references(node: Any) -> set[str]:
    if isinstance(node, dict):
        own = {node["$ref"]} if isinstance(node.get("$ref"), str) else set()
        return own.union(*map(references, node.values()))
    if isinstance(node, list):
        return set().union(*map(references, node)) if node else set()
    return set()


def test_every_reference_leads_somewhere_and_requests_are_closed() -> None:
    document = contract()
    known = {f"#/components/schemas/{name}" for name in document["components"]["schemas"]}
    assert references(document) <= known
    for name in ("Order", "Part", "Machine", "StockRecord", "Event", "Push", "ForceQuestion"):
        assert document["components"]["schemas"][name]["additionalProperties"] is False, name


def test_lengths_are_numbers_and_sizes_may_be_text() -> None:
    schemas = contract()["components"]["schemas"]
    assert schemas["Machine"]["properties"]["cutting_length_mm"]["type"] == "number"
    kinds = [choice["type"] for choice in schemas["Part"]["properties"]["length"]["anyOf"]]
    assert kinds == ["number", "string"]
    machine = schemas["Order"]["properties"]["machine"]["anyOf"]
    assert machine[0]["type"] == "string"
    assert machine[1] == {"$ref": "#/components/schemas/Machine"}


def test_the_page_to_read_names_every_operation(shared: Service) -> None:
    page = shared.get("/docs", None)
    assert page.content_type == "text/html; charset=utf-8"
    for operation in all_operations():
        assert re.sub(r"<(?:path:)?(\w+)>", r"{\1}", operation.path) in page.text
    assert "http://" not in page.text
    assert "https://" not in page.text


def test_every_field_and_every_parameter_has_words() -> None:
    document = contract()
    schemas = document["components"]["schemas"]
    bare = [
        f"{name}.{field}"
        for name, schema in schemas.items()
        for field, told in schema.get("properties", {}).items()
        if not told.get("description")
    ]
    assert bare == []
    bare = [
        f"{method} {path} {one['name']}"
        for path, methods in document["paths"].items()
        for method, entry in methods.items()
        for one in entry["parameters"]
        if not one.get("description")
    ]
    assert bare == []
    for path, methods in document["paths"].items():
        for entry in methods.values():
            told = {one["name"] for one in entry["parameters"] if one["in"] == "path"}
            assert told == set(re.findall(r"{(\w+)}", path))


def test_the_payload_of_every_type_of_event_is_in_it() -> None:
    schemas = contract()["components"]["schemas"]
    for event_type in PAYLOADS:
        name = event_type.title().replace(".", "")
        assert schemas[name]["required"], name
