"""The edge of the service: every operation guards its scope, and bad input is told field by field."""

from __future__ import annotations

import json
from typing import Any

import pytest

from schemas.problems import ProblemSchema
from service.app import Config, all_operations
from service.store import tokens
from service.store.database import connected
from service.store.models import Token
from tests.service.shop import NOW, Service, Station, machine, order, sheet

OPERATIONS = all_operations()


def problem(answer: Any, status: int) -> Any:
    """The problem document of an answer, which keeps RFC 9457."""
    assert answer.status_code == status, answer.text
    assert answer.content_type == "application/problem+json"
    assert not ProblemSchema(unknown="include").validate(answer.json)
    assert answer.json["status"] == status
    return answer.json


def told(answer: Any, status: int = 422) -> dict[str, str]:
    """Pointer to message of a refusal."""
    return {error["pointer"]: error["message"] for error in problem(answer, status)["errors"]}


def path_of(operation: Any) -> str:
    return str(operation.path).replace("<path:key>", "x").replace("<key>", "x").replace("<name>", "scrap")


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda one: one.name)
def test_every_operation_but_the_open_ones_wants_a_token_with_its_scope(
    shared: Service, operation: Any
) -> None:
    path = path_of(operation)
    if not operation.scopes:
        assert shared.ask(operation.method, path, None).status_code == 200
        return
    answer = shared.ask(operation.method, path, None)
    assert problem(answer, 401)["type"] == "/problems/unauthorised"
    assert "Bearer" in answer.headers["WWW-Authenticate"]
    problem(shared.ask(operation.method, path, "shw_nonsense"), 401)
    allowed = {*operation.scopes} | ({"admin"} if operation.scopes != ("station",) else set())
    for scope in ("plan", "report", "station", "admin"):
        answer = shared.ask(operation.method, path, scope)
        if scope not in allowed:
            assert problem(answer, 403)["type"] == "/problems/forbidden"
        else:
            assert answer.status_code not in {401, 500}


@pytest.mark.parametrize(
    "operation", [one for one in OPERATIONS if one.body is not None], ids=lambda one: one.name
)
@pytest.mark.parametrize(
    ("body", "media", "status"),
    [
        (b"{}", "text/plain", 415),
        (b"{}", None, 415),
        (b"", "application/json", 400),
        (b"{", "application/json", 400),
        (b'{"a": NaN}', "application/json", 400),
        (b'{"a": -Infinity}', "application/json", 400),
        (b'{"a": 1e999}', "application/json", 400),
        (b'{"a": 1, "a": 2}', "application/json", 400),
        (b'{"a": ' + b"9" * 5000 + b"}", "application/json", 400),
        (b"[" * 200_000, "application/json", 400),
        (b'{"a": "\xff"}', "application/json", 400),
        (b"null", "application/json", 422),
        (b"[]", "application/json", 422),
        (b'"text"', "application/json", 422),
        (b"{}", "application/json", 422),
        (b'{"no_such_field": 1}', "application/json", 422),
    ],
    ids=lambda value: str(value)[:20],
)
def test_a_body_that_is_none_is_refused_in_words(
    shared: Service, operation: Any, body: bytes, media: str | None, status: int
) -> None:
    scope = "station" if operation.scopes == ("station",) else "admin"
    answer = shared.ask(operation.method, path_of(operation), scope, data=body, content_type=media)
    assert problem(answer, status)["detail"]
    if body == b'{"no_such_field": 1}':
        assert told(answer)["/no_such_field"] == "this field is not known here"


@pytest.mark.parametrize(
    "operation", [one for one in OPERATIONS if one.query is not None], ids=lambda one: one.name
)
@pytest.mark.parametrize(
    "query", ["nonsense=1", "limit=0", "limit=x", "cursor=%00", "cursor=bm8", "limit=1&limit=2"]
)
def test_a_query_that_is_not_known_is_refused_in_words(shared: Service, operation: Any, query: str) -> None:
    scope = "station" if operation.scopes == ("station",) else "admin"
    answer = shared.ask(operation.method, f"{path_of(operation)}?{query}", scope)
    if answer.status_code == 404:
        # A drawing of a plan that is not there.
        assert operation.name == "plans.draw_plan"
        return
    assert all(pointer.startswith("/query/") for pointer in told(answer))


def test_what_is_not_there_and_what_is_not_done_are_problems(shared: Service) -> None:
    assert "/v1/docs" in problem(shared.get("/nothing"), 404)["detail"]
    assert shared.http.get("/").status_code == 404
    answer = shared.ask("PATCH", "/machines")
    problem(answer, 405)
    assert answer.headers["Allow"] == "GET, HEAD, POST"
    for path in ("/machines/none", "/plans/0123456789abcdef", "/stock/northgate/none", "/reports/none"):
        problem(shared.get(path), 404)
    for name in ("%00", "a%0Ab", "x" * 300, "%ED%A0%80"):
        problem(shared.get(f"/machines/{name}"), 404)


def test_a_body_that_is_too_large_is_refused_in_words(another: Any) -> None:
    service = another(most_body_bytes=1000)
    body = json.dumps({"order_ref": "x" * 2000}).encode()
    answer = service.ask("POST", "/plans", data=body, content_type="application/json")
    assert "at most 1000 bytes" in problem(answer, 413)["detail"]


def test_a_fault_of_the_service_is_told_without_its_inside(
    small: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: Any, **kwargs: Any) -> None:
        raise ZeroDivisionError("secret inside")

    monkeypatch.setattr("service.api.plans.plans_of", broken)
    answer = small.post("/plans", order())
    assert "secret" not in answer.text
    problem(answer, 500)


def change(document: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    """A copy with the value at a pointer changed."""
    copy: Any = json.loads(json.dumps(document))
    *steps, last = path.strip("/").split("/")
    inside = copy
    for step in steps:
        inside = inside[int(step)] if isinstance(inside, list) else inside[step]
    inside[int(last) if isinstance(inside, list) else last] = value
    return copy


FULL_ORDER = order(
    parts=[{**order()["parts"][0], "grain": "any", "tolerance": {"class": "m"}}],
    stock=[{name: value for name, value in sheet().items() if name != "site"}],
    options={"trim_mm": 5, "offcut_min": [300, 200], "max_stages": 3},
)


@pytest.mark.parametrize(
    ("path", "value", "wanted"),
    [
        ("/parts/0/length", -600, "negative"),
        ("/parts/0/length", 0, "greater than zero"),
        ("/parts/0/length", 1e30, "more than 100 m"),
        ("/parts/0/length", "six hundred", "is not a length"),
        ("/parts/0/length", "1,250", "can be read two ways"),
        ("/parts/0/length", True, "a length is wanted"),
        ("/parts/0/length", None, "may not be empty"),
        ("/parts/0/length", [600], "a length is wanted"),
        ("/parts/0/thickness", "16 ga", "gauge table"),
        ("/parts/0/thickness", "99 ga steel", "has no gauge 99"),
        ("/parts/0/quantity", 0, "from 1 to"),
        ("/parts/0/quantity", 1.5, "a whole number is wanted"),
        ("/parts/0/quantity", "8", "a whole number is wanted"),
        ("/parts/0/quantity", 10**30, "from 1 to"),
        ("/parts/0/material", "S999", "S999"),
        ("/parts/0/material", "", "1 to 60 characters"),
        ("/parts/0/material", "a\u0000b", "without control characters"),
        ("/parts/0/grain", "sideways", "any, along, across"),
        ("/parts/0/rotate", "yes", "true or false"),
        ("/parts/0/tolerance/class", "x", "f, m, c, v"),
        ("/parts/0/tolerance/plus", -1, "negative"),
        ("/parts/0/colour", "red", "not known here"),
        ("/parts/0", 7, "an object is wanted"),
        ("/parts", [], "at least 1 entry is wanted"),
        ("/parts", {}, "a list is wanted"),
        ("/stock/0/material", "S999", "S999"),
        ("/stock/0/kind", "coil", "sheet, offcut"),
        ("/stock/0/price", -1, "from 0"),
        ("/machine", "none", "no machine is known by the id 'none'"),
        ("/machine", 7, "the id of a machine is wanted"),
        ("/units", "ell", "mm, in"),
        ("/gauge_table", "tin", "steel, galvanised"),
        ("/options/max_stages", 0, "from 1 to 60"),
        ("/options/offcut_min", [300], "2 entries are wanted"),
        ("/options/trim_mm", "5", "a number of millimetres"),
        ("/options/speed", 1, "not known here"),
        ("/order_ref", "", "1 to 200 characters"),
    ],
)
def test_a_wrong_order_is_told_the_field_and_what_is_wanted(
    shared: Service, path: str, value: Any, wanted: str
) -> None:
    errors = told(shared.post("/plans", change(FULL_ORDER, path, value)))
    assert any(pointer.startswith(path) and wanted in message for pointer, message in errors.items()), errors
    assert shared.get("/plans").json["items"] == []


def test_refs_given_twice_are_named(shared: Service) -> None:
    twice = change(FULL_ORDER, "/parts", FULL_ORDER["parts"] * 2)
    assert "already the ref of entry 0" in told(shared.post("/plans", twice))["/parts/1/ref"]
    twice = change(FULL_ORDER, "/stock", FULL_ORDER["stock"] * 2)
    assert "already the ref of entry 0" in told(shared.post("/plans", twice))["/stock/1/ref"]


def test_a_token_that_would_open_nothing_is_not_made(shared: Service) -> None:
    asked = {"name": "old", "scopes": ["plan"], "expires_at": NOW.isoformat()}
    assert "is past" in told(shared.post("/tokens", asked))["/expires_at"]


def test_a_material_given_twice_is_named(shared: Service) -> None:
    material = {**shared.get("/materials/S235JR").json, "grade": "ours"}
    twice = {**FULL_ORDER, "materials": [material, {**material, "rm_high_n_mm2": 900}]}
    assert "already the grade of entry 0" in told(shared.post("/plans", twice))["/materials/1/grade"]


@pytest.mark.parametrize("levels", [60, 300, 960, 964, 968, 972, 976, 980, 2000, 100_000])
@pytest.mark.parametrize("brackets", ["[]", '{"a":}'])
def test_a_body_nested_too_deeply_is_told_so_at_every_depth(
    shared: Service, station: Station, levels: int, brackets: str
) -> None:
    event = json.dumps({**station.cut(), "payload": "here"})
    inside = f"{brackets[:-1] * levels}1{brackets[-1] * levels}"
    push = f'{{"station": "ng-1", "sent_at": "2026-03-02T12:00:00Z", "events": [{event}]}}'
    body = push.replace('"here"', f'{{"a": {inside}}}')
    answer = shared.ask("POST", "/sync/events", "station", data=body, content_type="application/json")
    assert problem(answer, 400)["detail"] == "the body is nested too deeply"


def test_grain_against_rotation_is_refused(shared: Service) -> None:
    part = {**FULL_ORDER["parts"][0], "grain": "along", "rotate": True}
    (message,) = told(shared.post("/plans", {**FULL_ORDER, "parts": [part]})).values()
    assert "grain 'along' fixes the direction" in message


def test_an_order_of_too_many_lines_is_refused_with_the_limit(another: Any) -> None:
    service = another(most_order_lines=3)
    service.fill()
    parts = [{**FULL_ORDER["parts"][0], "ref": f"P{number}"} for number in range(3)]
    errors = told(service.post("/plans", {**FULL_ORDER, "parts": parts}))
    assert "at most 3 lines" in errors["/parts"]


CUT = {"machine": "bench-3m", "material": "S235JR", "thickness": 3, "cut_length": 2000}
QUESTIONS: dict[str, dict[str, Any]] = {
    "/checks/force": CUT,
    "/settings": {**CUT, "drop_depth": 300},
    "/programs/check": {**CUT, "steps": [{"gauge_mm": 300}]},
    "/checks/capacity": {"machine": "bench-3m", "grades": ["S235JR"], "cut_lengths": [1000]},
    "/wear/estimate": {
        "machine": "bench-3m",
        "days": 5,
        "cuts": [{"material": "S235JR", "thickness": 3, "cut_length": 1000, "strokes": 9}],
    },
}


@pytest.mark.parametrize("path", QUESTIONS)
def test_a_question_with_a_wrong_field_is_told_which(shared: Service, path: str) -> None:
    right = QUESTIONS[path]
    assert shared.post(path, right, "plan").status_code == 200
    assert "no machine is known" in told(shared.post(path, {**right, "machine": "none"}))["/machine"]
    inline = {**right, "machine": machine(site=None)}
    assert shared.post(path, inline).status_code == 200
    inline["machine"]["cutting_length_mm"] = -1
    assert "negative" in told(shared.post(path, inline))["/machine/cutting_length_mm"]
    for name in ("thickness", "cut_length"):
        if name in right:
            assert "negative" in told(shared.post(path, {**right, name: -1}))[f"/{name}"]
    if "material" in right:
        assert "S999" in told(shared.post(path, {**right, "material": "S999"}))["/material"]


def test_odd_questions_are_refused_by_name(shared: Service) -> None:
    force = {**CUT, "rake_deg": 9}
    assert "0.5 to 2 degrees" in told(shared.post("/checks/force", force))["/rake_deg"]
    force = {**CUT, "rake_deg": 1.73}
    assert "in steps of 0.1" in told(shared.post("/checks/force", force))["/rake_deg"]
    strong = {**CUT, "tensile_strength_n_mm2": 400}
    assert "go together" in told(shared.post("/checks/force", strong))["/certificate"]
    certified = shared.post("/checks/force", {**strong, "certificate": "3.1/77"}).json
    assert certified["rating_share"] < shared.post("/checks/force", CUT).json["rating_share"]
    grades = {"machine": "bench-3m", "grades": ["S235JR", "S999"]}
    assert "S999" in told(shared.post("/checks/capacity", grades))["/grades/1"]
    wear = change(QUESTIONS["/wear/estimate"], "/cuts/0/start", 2500)
    assert "beyond the blade" in told(shared.post("/wear/estimate", wear))["/cuts/0/cut_length"]


def test_every_limit_of_a_cut_is_checked_when_its_drop_is_given(shared: Service) -> None:
    narrow = shared.post("/checks/force", {**CUT, "drop_depth": 300, "remainder_depth": 20}).json
    assert "stop" in {finding["level"] for finding in narrow["findings"]}
    assert all(finding["basis"] for finding in narrow["findings"])
    assert any("hands" in caution for caution in narrow["cautions"])


def test_a_check_reads_inches_and_sheet_gauge(shared: Service) -> None:
    inch = {**CUT, "units": "in", "thickness": "11 ga steel", "cut_length": 40}
    metric = {**CUT, "thickness": 3.04, "cut_length": 1016}
    assert shared.post("/checks/force", inch).json == shared.post("/checks/force", metric).json


def test_an_idempotency_key_gives_the_same_answer_and_takes_no_other_request(service: Service) -> None:
    key = {"Idempotency-Key": '"erp-77"'}
    first = service.post("/stock", sheet("SH-B"), headers=key)
    again = service.post("/stock", sheet("SH-B"), headers=key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.data == again.data
    assert again.headers["Idempotent-Replayed"] == "true"
    assert again.headers["ETag"] == first.headers["ETag"]
    other = service.post("/stock", sheet("SH-C"), headers=key)
    assert problem(other, 422)["type"] == "/problems/key-reused"
    # Without the key the same is refused, as it is there.
    assert problem(service.post("/stock", sheet("SH-B")), 409)["type"] == "/problems/exists"
    # A refused request does not use up its key.
    key = {"Idempotency-Key": "erp-78"}
    told(service.post("/stock", sheet("SH-D", length=-1), headers=key))
    assert service.post("/stock", sheet("SH-D"), headers=key).status_code == 201
    told(service.post("/stock", sheet("SH-E"), headers={"Idempotency-Key": "x" * 300}))


def test_a_key_of_one_token_is_nothing_to_another(service: Service) -> None:
    key = {"Idempotency-Key": "1"}
    assert service.post("/stock", sheet("SH-B"), "plan", headers=key).status_code == 201
    assert service.post("/stock", sheet("SH-B"), "admin", headers=key).status_code == 409


def test_a_new_token_is_shown_once_and_kept_as_a_hash(service: Service) -> None:
    asked = {"name": "shear 1", "scopes": ["station"], "site": "northgate", "station": "ng-9"}
    made = service.post("/tokens", asked)
    assert made.status_code == 201
    secret = made.json["secret"]
    assert secret.startswith(tokens.PREFIX)
    assert secret not in service.get("/tokens").text
    with connected():
        assert secret not in {row.secret_hash for row in Token.select()}
    assert service.get("/sync/changes", secret).status_code == 200
    assert service.ask("DELETE", f"/tokens/{made.json['id']}").status_code == 204
    problem(service.get("/sync/changes", secret), 401)
    problem(service.post("/tokens", asked, headers={"Idempotency-Key": "1"}), 422)


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"scopes": ["station"]}, "/scopes"),
        ({"scopes": ["station", "admin"], "site": "northgate", "station": "s"}, "/scopes"),
        ({"scopes": ["plan"], "site": "northgate"}, "/scopes"),
        ({"scopes": []}, "/scopes"),
        ({"scopes": ["root"]}, "/scopes/0"),
        ({"scopes": ["station"], "site": "nowhere", "station": "s"}, "/site"),
        ({"scopes": ["plan"], "expires_at": "2026-02-30"}, "/expires_at"),
    ],
)
def test_a_token_that_makes_no_sense_is_refused(
    shared: Service, changes: dict[str, Any], pointer: str
) -> None:
    assert pointer in told(shared.post("/tokens", {"name": "t", **changes}))


def test_an_expired_token_opens_nothing(small: Service) -> None:
    secret = small.token("admin", expires_at=NOW)
    problem(small.get("/machines", secret), 401)


@pytest.mark.parametrize("value", ["many", "0", "70000", "-1", "8080.0"])
def test_a_wrong_setting_is_named(value: str) -> None:
    with pytest.raises(ValueError, match="SHEARWRIGHT_PORT: a whole number from 1 to 65535 is wanted"):
        Config.from_environment({"SHEARWRIGHT_PORT": value})
    assert Config.from_environment({"SHEARWRIGHT_PORT": "9000"}).port == 9000
