"""Sheets that are parts as they are: no step cuts them, and they are written down all the same."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from client.cache.plans import pieces_done, spoiled_parts
from client.cli import cli
from client.errors import InputWrong
from client.log.spoiled import log_spoiled
from client.log.step import log_step
from client.log.whole import log_whole
from client.log.withdraw import log_withdrawn
from client.planning import plan_here
from client.sync import sync_once
from schemas.events import payload_errors


@pytest.fixture
def order_of_offcuts(order_document):
    """Three offcuts of which each is a part, and no more stock."""
    stock = {
        "ref": "OC-7",
        "length": 600,
        "width": 300,
        "quantity": 3,
        "material": "S235JR",
        "thickness": 3,
        "kind": "offcut",
        "edges": "cut",
        "oversize": 0,
    }
    return {**order_document, "parts": [{**order_document["parts"][0], "quantity": 3}], "stock": [stock]}


@pytest.fixture
def whole(stocked, order_of_offcuts):
    kept = plan_here(stocked, order_of_offcuts)
    assert kept.plan.program == ()
    assert [layout.repeat for layout in kept.plan.layouts] == [3]
    return kept


def test_what_is_taken_as_it_is_counts_as_parts_made(stocked, whole):
    logged = log_whole(stocked, whole.id, 1, operator="ab")
    taken, parts = (one.event for one in logged.events)
    assert taken["type"] == "stock.taken"
    assert (taken["payload"]["ref"], taken["payload"]["quantity"]) == ("OC-7", 3)
    assert parts["type"] == "parts.taken"
    assert (parts["payload"]["sheets"], parts["payload"]["layout_sheets"]) == (3, 3)
    (part,) = parts["payload"]["parts"]
    assert (part["ref"], part["quantity"], part["order_ref"]) == ("P1", 3, "W-1042")
    # Conservation of mass: 3 of 0.6 · 0.3 · 3 mm at 7.85 kg/m² for each mm (EN 10025-1, from memory).
    assert part["mass_kg"] == pytest.approx(3 * 0.6 * 0.3 * 3 * 7.85, abs=0.01)
    assert taken["payload"]["mass_kg"] == part["mass_kg"]
    for one in logged.events:
        assert payload_errors(one.type, one.event["payload"]) == []


def test_some_now_and_the_rest_later_and_no_more_than_there_are(stocked, whole):
    log_whole(stocked, whole.id, 1, sheets=2)
    with pytest.raises(InputWrong, match="at most 1 is left"):
        log_whole(stocked, whole.id, 1, sheets=2)
    log_whole(stocked, whole.id, 1)
    assert pieces_done(stocked.outbox.sql, whole.id) == {-1: 3}
    with pytest.raises(InputWrong, match="layout 1: all 3 sheets are logged already"):
        log_whole(stocked, whole.id, 1)
    log_whole(stocked, whole.id, 1, sheets=1, again=True)
    assert pieces_done(stocked.outbox.sql, whole.id) == {-1: 4}


def test_a_layout_that_is_cut_is_logged_by_its_steps(stocked, order_document):
    kept = plan_here(stocked, order_document)
    with pytest.raises(InputWrong, match="layout 1 is cut: log its steps"):
        log_whole(stocked, kept.id, 1)
    with pytest.raises(InputWrong, match="has no layout 99"):
        log_whole(stocked, kept.id, 99)


def test_a_plan_without_steps_says_how_it_is_logged(stocked, whole):
    with pytest.raises(InputWrong, match="shearwright log layout"):
        log_step(stocked, whole.id, 1)


def test_one_that_was_spoiled_before_is_left_out_and_comes_back_with_the_withdrawal(stocked, whole):
    log_spoiled(stocked, whole.id, whole.plan, whole.order, "P1", 1, "surface")
    logged = log_whole(stocked, whole.id, 1)
    parts = logged.events[-1].event["payload"]["parts"]
    assert parts[0]["quantity"] == 2
    assert spoiled_parts(stocked.outbox.sql, whole.id, "P1").left_out == 1
    # The two that are good can be spoiled after they were logged, and leave the parts made then.
    spoiled = log_spoiled(stocked, whole.id, whole.plan, whole.order, "P1", 1, "surface")
    assert spoiled.events[0].event["payload"]["was_made"] is True
    log_withdrawn(stocked, [one.row for one in logged.events], "not taken yet")
    assert pieces_done(stocked.outbox.sql, whole.id) == {}
    assert spoiled_parts(stocked.outbox.sql, whole.id, "P1").left_out == 0


def test_the_command_says_it_is_written_and_the_list_shows_it(home, stocked, whole):
    stocked.close()
    run = CliRunner()
    done = run.invoke(cli, ["--home", str(home.folder), "log", "layout", whole.id[:6], "1", "--sheets", "2"])
    assert done.exit_code == 0, done.output
    assert done.output.startswith("written: entries 1 to 2")
    listed = run.invoke(cli, ["--home", str(home.folder), "log", "list"])
    assert f"2 as they are: 2 of P1; plan {whole.id} layout 1 on bench-3m" in listed.output


def test_sheets_are_not_logged_again_while_they_still_count_as_taken(stocked, whole):
    logged = log_whole(stocked, whole.id, 1, sheets=1)
    (parts,) = [one.row for one in logged.events if one.type == "parts.taken"]
    log_withdrawn(stocked, [parts], "went back")
    with pytest.raises(InputWrong, match="would count twice"):
        log_whole(stocked, whole.id, 1, sheets=1)


def test_the_centre_counts_them(service, connected, order_of_offcuts):
    with connected(service) as station:
        sync_once(station)
        kept = plan_here(station, order_of_offcuts)
        log_whole(station, kept.id, 1)
        report = sync_once(station)
        assert (report.pushed.applied, report.pushed.quarantined) == (2, 0)
