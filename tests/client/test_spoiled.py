"""A spoiled part stands once in the books: taken = parts + scrap + offcuts kept, whatever came first.

The balance of mass is checked at the real service, and against masses reckoned here by hand: steel of
7850 kg/m³ (EN 1991-1-1:2002, table A.4 gives 77 to 78.5 kN/m³, that is 7850 kg/m³), 600 × 300 × 3.
"""

import pytest

from client.errors import InputWrong
from client.log.spoiled import log_spoiled
from client.log.step import log_step
from client.planning import plan_here
from client.sync import sync_once

PART_KG = 0.6 * 0.3 * 0.003 * 7850


def spoil(station, kept, quantity, **given):
    return log_spoiled(station, kept.id, kept.plan, kept.order, "P1", quantity, "twisted", **given)


def made_of(station, ref="P1"):
    return sum(
        part["quantity"]
        for one in station.outbox.all_events()
        if one.type == "cuts.made"
        for part in one.event["payload"]["parts"]
        if part["ref"] == ref
    )


def scrapped(station):
    return [
        (one.event["payload"]["quantity"], one.event["payload"].get("was_made", False))
        for one in station.outbox.all_events()
        if one.type == "scrap.made" and one.event["payload"].get("part_ref") == "P1"
    ]


def log_all(station, kept):
    for step in kept.plan.program:
        log_step(station, kept.id, step.number)


@pytest.fixture
def kept(stocked, order_document):
    return plan_here(stocked, order_document)


def test_a_part_spoiled_after_its_step_was_logged_leaves_the_parts_made(stocked, kept):
    log_all(stocked, kept)
    logged = spoil(stocked, kept, 2)
    assert scrapped(stocked) == [(2, True)]
    assert logged.events[0].event["payload"]["mass_kg"] == pytest.approx(2 * PART_KG, abs=1e-3)
    assert "no longer do" in logged.notes[0]


def test_a_part_spoiled_before_its_step_is_logged_is_left_out_there_once(stocked, kept):
    spoil(stocked, kept, 1)
    assert scrapped(stocked) == [(1, False)]
    log_all(stocked, kept)
    assert made_of(stocked) == 15
    assert spoil(stocked, kept, 1).events[0].event["payload"]["was_made"] is True


def test_no_more_leave_the_parts_made_than_were_made(stocked, kept):
    log_all(stocked, kept)
    spoil(stocked, kept, 15)
    spoil(stocked, kept, 3)
    assert scrapped(stocked) == [(15, True), (1, True), (2, False)]


def test_a_person_may_say_it_otherwise(stocked, kept):
    log_all(stocked, kept)
    spoil(stocked, kept, 1, was_made=False)
    assert scrapped(stocked) == [(1, False)]


def test_a_part_the_plan_does_not_have_is_refused(stocked, kept):
    with pytest.raises(InputWrong, match="no part 'P9'"):
        log_spoiled(stocked, kept.id, kept.plan, kept.order, "P9", 1, "burr")


@pytest.mark.parametrize("when", ["before", "between", "after"])
def test_the_masses_balance_at_the_centre_whenever_the_part_was_spoiled(
    service, connected, order_document, when
):
    with connected(service) as station:
        sync_once(station)
        kept = plan_here(station, order_document)
        steps = [step.number for step in kept.plan.program]
        half = {"before": 0, "between": len(steps) // 2, "after": len(steps)}[when]
        for number in steps[:half]:
            log_step(station, kept.id, number)
        spoil(station, kept, 2)
        for number in steps[half:]:
            log_step(station, kept.id, number)
        report = sync_once(station)
        assert report.complete
        assert report.pushed.quarantined == 0, station.outbox.quarantined()
    token = service.plan_token()
    (row,) = service.get("/v1/reports/yield?by=site", token)["rows"]
    assert row["parts"] == 16 + 7 - 2
    assert row["unaccounted_kg"] == pytest.approx(0, abs=1e-3)
    reasons = {one["reason"]: one for one in service.get("/v1/reports/scrap?by=reason", token)["rows"]}
    assert reasons["twisted"]["scrap_kg"] == pytest.approx(2 * PART_KG, abs=1e-3)
    service.command("audit")
