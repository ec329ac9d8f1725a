"""A profile that was read is used again only for the very same text."""

from __future__ import annotations

import json
from typing import Any

from service.store.database import connected
from service.store.models import Record
from tests.service.shop import Service, machine

CUT = {"machine": "bench-3m", "material": "S235JR", "thickness": 3, "cut_length": 2000}


def force(service: Service, **changes: Any) -> float:
    answer = service.post("/checks/force", {**CUT, **changes}, "plan")
    assert answer.status_code == 200, answer.text
    return float(answer.json["force_kn"])


def rewrite(kind: str, **changes: Any) -> None:
    """Put other content under the same revision, as a database does that is put back."""
    with connected():
        row = Record.get(Record.kind == kind, Record.key == {"machine": "bench-3m"}.get(kind, "M1"))
        Record.update(document={**row.document, **changes}).where(
            Record.kind == kind, Record.key == row.key
        ).execute()


def test_a_changed_profile_counts_at_the_next_check(service: Service) -> None:
    steep = {"low_deg": 2, "high_deg": 2}
    before = force(service)
    assert force(service) == before
    changed = machine(rake=steep)
    assert service.put("/machines/bench-3m", changed, headers={"If-Match": '"1"'}).status_code == 200
    after = force(service)
    assert after < before


def test_other_content_under_the_same_revision_counts_too(service: Service) -> None:
    before = force(service)
    rewrite("machine", rake={"low_deg": 2.0, "high_deg": 2.0})
    assert force(service) < before


def test_a_deleted_machine_is_not_known_any_more(service: Service) -> None:
    force(service)
    assert service.ask("DELETE", "/machines/bench-3m", headers={"If-Match": '"1"'}).status_code == 204
    answer = service.post("/checks/force", CUT, "plan")
    assert answer.status_code == 422
    assert "no machine is known" in json.dumps(answer.json)


def test_a_shops_own_grade_is_read_anew_when_it_changed(small: Service) -> None:
    grade = {**small.get("/materials/S235JR").json, "grade": "M1"}
    assert small.post("/materials", grade).status_code == 201
    before = force(small, material="M1", rake_deg=1)
    rewrite("material", rm_high_n_mm2=2 * grade["rm_high_n_mm2"])
    assert force(small, material="M1", rake_deg=1) > 1.5 * before
