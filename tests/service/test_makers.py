"""Pieces that were cut and that nobody logged as made: asked about a day later, until their maker comes."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.store import makers, tokens
from service.store.database import connected
from tests.service.shop import NOW, PLAN, Service, Station, discrepancies, order, step_cut


def look(service: Service, **later: float) -> tuple[int, int]:
    service.clock.now += timedelta(**later)
    with connected():
        found = makers.look(service.clock.now)
    return found.noted, found.settled


def test_a_step_whose_maker_never_comes_shows_a_day_later_and_until_it_comes(
    service: Service, station: Station, second: Station
) -> None:
    late = step_cut(station, step=5, made_by=[2, 3])
    service.push([late, step_cut(station, step=3)])
    assert look(service, hours=23) == (0, 0)
    assert look(service, hours=2) == (1, 0)
    (found,) = discrepancies(service)
    assert (found["kind"], found["step"], found["makers"]) == ("maker missing", 5, [2])
    assert [one["event_id"] for one in found["events"]] == [late["event_id"]]
    # Looked at daily, and noted once.
    assert look(service, days=1) == (0, 0)
    maker = step_cut(second, step=2)
    service.push([maker], "ng-2")
    assert look(service, days=1) == (0, 1)
    assert discrepancies(service) == []
    # It was not cut after all: the pieces are nobody's again.
    gone = second.write("log.withdrawn", {"event_id": maker["event_id"], "reason": "not cut"})
    service.push([gone], "ng-2")
    assert look(service, days=1) == (1, 0)
    (anew,) = discrepancies(service)
    assert anew["settled_at"] is None
    # How it was settled the first time stays written down.
    (settled,) = discrepancies(service, "settled")
    assert (settled["id"], settled["words"]) == (found["id"], "the step that makes its pieces came")
    assert look(service, days=1) == (0, 0)


def test_a_maker_of_which_nobody_knows_how_many_pieces_is_not_missing(
    service: Service, station: Station
) -> None:
    service.push([step_cut(station, step=5, made_by=[2]), station.cut(plan_id=PLAN, step=2)])
    assert look(service, days=2) == (0, 0)


def test_what_a_person_settled_of_a_missing_maker_is_not_asked_again(
    service: Service, station: Station
) -> None:
    service.push([step_cut(station, step=5, made_by=[2])])
    assert look(service, days=2) == (1, 0)
    (found,) = discrepancies(service)
    answer = service.post(f"/sync/discrepancies/{found['id']}/settle", {"words": "cut by hand"}, "plan")
    assert answer.json["makers"] == [2]
    assert look(service, days=1) == (0, 0)
    assert discrepancies(service) == []


def test_a_step_of_an_older_station_has_the_makers_that_its_plan_tells(
    service: Service, station: Station
) -> None:
    plan = service.post("/plans", order(), "plan").json
    last = plan["program"][-1]
    assert last["step"] > 1, "a step after the first is wanted"
    strokes = last["repeat"] * last["pieces"] // last["gang"]
    length = last["along_blade_mm"] * last["gang"]
    service.push([station.cut(plan_id=plan["id"], step=last["step"], strokes=strokes, cut_length_mm=length)])
    assert look(service, days=2) == (1, 0)
    (found,) = discrepancies(service)
    maker = plan["program"][found["makers"][0] - 1]
    assert last["piece"] in {out["ref"] for out in (*maker["drop_to"], *maker["remainder_to"])}


@pytest.mark.parametrize("name", ["station manager", "the service desk"])
def test_what_a_person_of_any_name_settled_is_not_asked_again(
    service: Service, station: Station, name: str
) -> None:
    with connected():
        secret = tokens.make(name, ["plan"], now=NOW)[1]
    service.push([step_cut(station, step=5, made_by=[2])])
    assert look(service, days=2) == (1, 0)
    (found,) = discrepancies(service)
    settle = f"/sync/discrepancies/{found['id']}/settle"
    assert service.post(settle, {"words": "by hand, not logged"}, secret).status_code == 200
    assert look(service, days=2) == (0, 0)
    (settled,) = discrepancies(service, "settled")
    assert (settled["settled_by"], settled["words"]) == (name, "by hand, not logged")
