"""The OpenAPI 3.1 document, made from the table of operations and the schemas."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin

from schemas.fields import Millimetres, Size, Text, Thickness
from schemas.orders import MachineField
from schemas.payloads import PAYLOADS
from schemas.problems import ProblemSchema
from service.api.operating import shown_path
from service.api.operations import JSON, Operation
from service.store.reports import REPORTS

_TITLE = "Shearwright"
_ABOUT = (
    "Cut plans, checks and cutting logs for guillotine shears.\n\n"
    "Lengths are millimetres with at most two decimals; fields whose name does not end in `_mm` follow "
    "the request's `units` and may be text with a unit (`2 1/2\"`), a thickness also a sheet gauge number "
    "(`16 ga steel`). Unknown fields are refused. Every error is a problem by RFC 9457 with one entry a "
    "field. A POST honours `Idempotency-Key`: the same key and body again gives the same answer. A figure "
    "or a plan from here is no permission to cut: guards, lifting and the maker's limits are decided at "
    "the machine, by its manual and the local rules."
)


_KEYS = {
    "blades": "id of the blade",
    "discrepancies": "number of the discrepancy",
    "heats": "heat number",
    "kind": "kind of record, such as machine",
    "machines": "id of the machine",
    "materials": "name of the grade",
    "name": f"name of the report: {', '.join(REPORTS)}",
    "plans": "id of the plan",
    "programs": "id of the program",
    "quarantine": "number of the entry",
    "sites": "id of the site",
    "stations": "name of the workstation",
    "stock": "site/ref of the stock",
    "tokens": "id of the token",
    "{kind}": "id of the record; of stock site/ref",
}
"""What stands in a path: by its own name, or for a `key` by the part of the path before it."""


def openapi_document(operations: Iterable[Operation]) -> dict[str, Any]:
    """The whole contract."""
    plugin = MarshmallowPlugin()
    spec = APISpec(
        title=_TITLE,
        version="1.0.0",
        openapi_version="3.1.0",
        info={"description": _ABOUT},
        plugins=[plugin],
    )
    converter: Any = plugin.converter
    converter.add_attribute_function(_length)
    converter.add_attribute_function(_machine)
    spec.components.security_scheme(
        "bearer",
        {
            "type": "http",
            "scheme": "bearer",
            "description": "A token of this service, with a scope: plan, station, report or admin.",
        },
    )
    # Payloads are no body of an operation: they stand inside events, each by the event's type.
    for name, payload in PAYLOADS.items():
        spec.components.schema(_payload_name(name), schema=payload)
    paths: dict[str, dict[str, Any]] = {}
    for operation in operations:
        methods = paths.setdefault(f"/v1{shown_path(operation.path)}", {})
        methods[operation.method.lower()] = _operation(operation)
    for path, methods in sorted(paths.items()):
        spec.path(path=path, operations=methods)
    document: dict[str, Any] = spec.to_dict()
    return document


def _payload_name(event_type: str) -> str:
    """The name of the schema of a payload.

    >>> _payload_name("cuts.made")
    'CutsMade'
    """
    return "".join(word.capitalize() for word in event_type.split("."))


def _operation(operation: Operation) -> dict[str, Any]:
    made: dict[str, Any] = {
        "operationId": operation.name.replace(".", "_"),
        "summary": operation.summary,
        "tags": [operation.tag],
        "parameters": _parameters(operation),
        "responses": _responses(operation),
        "security": [{"bearer": []}] if operation.scopes else [],
    }
    if operation.scopes:
        made["description"] = f"Scope: {' or '.join(operation.scopes)}."
    if operation.body is not None:
        made["requestBody"] = {"required": True, "content": {JSON: {"schema": operation.body}}}
    return made


def _parameters(operation: Operation) -> list[Any]:
    steps = shown_path(operation.path).split("/")
    made: list[Any] = [
        {
            "in": "path",
            "name": name,
            "required": True,
            "schema": {"type": "string"},
            "description": _KEYS[before if name == "key" else name],
        }
        for before, step in pairwise(steps)
        if (name := step.strip("{}")) != step
    ]
    if operation.query is not None:
        made.append({"in": "query", "schema": operation.query})
    if operation.revisioned:
        made.append(_header("If-Match", "the ETag of the state that the change is based on"))
    if operation.keyed:
        made.append(_header("Idempotency-Key", "a request sent again under it is done once"))
    return made


def _header(name: str, description: str) -> dict[str, Any]:
    return {"in": "header", "name": name, "description": description, "schema": {"type": "string"}}


def _responses(operation: Operation) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for status, content in operation.answers.items():
        response: dict[str, Any] = {"description": {200: "As asked", 201: "Made", 204: "Done"}[status]}
        if isinstance(content, str):
            response["content"] = {content: {"schema": {} if content == JSON else {"type": "string"}}}
        elif content is not None:
            response["content"] = {JSON: {"schema": content}}
        made[str(status)] = response
    made["default"] = {
        "description": "What went wrong",
        "content": {"application/problem+json": {"schema": ProblemSchema}},
    }
    return made


def _length(self: Any, field: Any, **kwargs: Any) -> dict[str, Any]:
    if not isinstance(field, Millimetres):
        return {}
    zero = {"minimum": 0} if field.zero_ok else {"exclusiveMinimum": 0}
    number: dict[str, Any] = {"type": "number", **zero, "maximum": 100_000}
    if not isinstance(field, Size | Thickness):
        return _maybe_null(number, field)
    text = {"type": "string", "maxLength": 40, "examples": ['2 1/2"', "118,5 mm"]}
    choices: list[dict[str, Any]] = [number, text]
    if field.allow_none:
        choices.append({"type": "null"})
    return {"anyOf": choices}


def _maybe_null(number: dict[str, Any], field: Text | Millimetres) -> dict[str, Any]:
    return {**number, "type": ["number", "null"]} if field.allow_none else number


def _machine(self: Any, field: Any, ret: dict[str, Any], **kwargs: Any) -> dict[str, Any]:
    if not isinstance(field, MachineField):
        return {}
    inline = {key: ret.pop(key) for key in list(ret) if key in {"$ref", "allOf"}}
    return {"anyOf": [{"type": "string", "description": "id of a machine"}, inline]}
