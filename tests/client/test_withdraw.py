"""A wrong entry is found by its number, withdrawn, and no longer counts here either."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from client.cache.plans import pieces_done, spoiled_parts
from client.cli import cli
from client.errors import InputWrong
from client.log.batch import Sheet
from client.log.machine import log_gauge
from client.log.spoiled import log_spoiled
from client.log.step import log_step
from client.log.withdraw import log_withdrawn
from client.log.without_plan import log_offcut, log_taken
from client.opened import opened_plan
from client.planning import plan_here
from client.sync import sync_once
from schemas.events import payload_errors


def rows(logged):
    return [one.row for one in logged.events]


def counts(station):
    return {item.ref: item.quantity for item in station.rack()}


@pytest.fixture
def planned(stocked, order_document):
    return plan_here(stocked, order_document)


def test_a_step_that_was_not_cut_is_open_again(stocked, planned):
    before = counts(stocked)
    logged = log_step(stocked, planned.id, 1)
    assert pieces_done(stocked.outbox.sql, planned.id)
    gone = log_withdrawn(stocked, rows(logged), "wrong step")
    assert pieces_done(stocked.outbox.sql, planned.id) == {}
    assert {ref: count for ref, count in counts(stocked).items() if count} == before
    for one in gone.events:
        assert payload_errors(one.type, one.event["payload"]) == []
    # It can be logged anew, without --again.
    log_step(stocked, planned.id, 1)


def test_spoiled_parts_that_hang_on_a_withdrawn_step_are_named(stocked, planned):
    order = opened_plan(stocked, planned.id)[1]
    logged = [log_step(stocked, planned.id, step.number) for step in planned.plan.program]
    of_p1 = [
        one
        for each in logged
        for one in each.events
        if one.type == "cuts.made" and "P1" in {part["ref"] for part in one.event["payload"]["parts"]}
    ]
    scrap = log_spoiled(stocked, planned.id, planned.plan, order, "P1", 2, "wrong size")
    (spoiled,) = rows(scrap)
    gone = log_withdrawn(stocked, [one.row for one in of_p1], "not cut")
    (note,) = [note for note in gone.notes if "spoiled" in note]
    assert note.startswith(f"entry {spoiled} still counts 2 of P1 of plan {planned.id} as made and then")


def test_spoiled_parts_that_are_withdrawn_too_are_not_named(stocked, planned):
    order = opened_plan(stocked, planned.id)[1]
    logged = [log_step(stocked, planned.id, step.number) for step in planned.plan.program]
    scrap = log_spoiled(stocked, planned.id, planned.plan, order, "P1", 2, "wrong size")
    cuts = [one.row for each in logged for one in each.events if one.type == "cuts.made"]
    gone = log_withdrawn(stocked, [*cuts, *rows(scrap)], "not cut")
    assert not [note for note in gone.notes if "spoiled" in note]


def test_what_else_of_the_step_still_counts_is_told(stocked, planned):
    first = log_step(stocked, planned.id, 1)
    again = log_step(stocked, planned.id, 1, again=True)
    other = [one.row for one in again.events if one.type == "cuts.made"]
    gone = log_withdrawn(stocked, rows(first), "logged twice")
    (note,) = [note for note in gone.notes if "still counts as logged" in note]
    assert note == (
        f"step 1 of plan {planned.id} still counts as logged by entry {other[0]}"
        if len(other) == 1
        else f"step 1 of plan {planned.id} still counts as logged by entries {', '.join(map(str, other))}"
    )
    gone = log_withdrawn(stocked, rows(again), "nor then")
    assert not [note for note in gone.notes if "still counts as logged" in note]


def test_every_step_of_a_plan_comes_back_to_nothing_done(stocked, planned):
    for step in planned.plan.program:
        logged = log_step(stocked, planned.id, step.number)
        done = pieces_done(stocked.outbox.sql, planned.id)
        assert done[step.number] == step.pieces
        log_withdrawn(stocked, rows(logged), "tried out")
        assert step.number not in pieces_done(stocked.outbox.sql, planned.id)


def test_what_was_written_together_and_still_counts_is_named(stocked, planned):
    logged = log_step(stocked, planned.id, 1)
    gone = log_withdrawn(stocked, rows(logged)[:1], "one sheet only")
    note = next(one for one in gone.notes if "still counting" in one)
    assert all(str(number) in note for number in rows(logged)[1:])


def test_the_command_that_withdraws_the_rest_is_told(stocked, planned):
    logged = rows(log_step(stocked, planned.id, 1))
    gone = log_withdrawn(stocked, [logged[1]], "not cut")
    rest = " ".join(map(str, [logged[0], *logged[2:]]))
    assert any(f"shearwright log withdraw {rest} --reason" in one for one in gone.notes)


def test_a_step_is_not_logged_again_while_half_of_it_still_counts(stocked, planned):
    before = counts(stocked)
    logged = log_step(stocked, planned.id, 1)
    cuts = [one.row for one in logged.events if one.type == "cuts.made"]
    rest = [row for row in rows(logged) if row not in cuts]
    taken = counts(stocked)
    log_withdrawn(stocked, cuts, "not cut")
    with pytest.raises(InputWrong, match="would count twice") as refused:
        log_step(stocked, planned.id, 1)
    assert f"shearwright log withdraw {' '.join(map(str, rest))} --reason" in str(refused.value)
    assert counts(stocked) == taken
    log_withdrawn(stocked, rest, "not cut")
    assert {ref: count for ref, count in counts(stocked).items() if count} == before
    log_step(stocked, planned.id, 1)
    assert counts(stocked) == taken


def test_a_range_passes_over_what_was_withdrawn_before(stocked, planned):
    logged = rows(log_step(stocked, planned.id, 1))
    log_withdrawn(stocked, [logged[1]], "not cut")
    home = ["--home", str(stocked.home.folder)]
    span = f"{logged[0]}-{logged[-1]}"
    stocked.close()
    done = CliRunner().invoke(cli, [*home, "log", "withdraw", span, "--reason", "not cut"])
    assert done.exit_code == 0, done.output
    assert f"entry {logged[1]} was withdrawn before" in done.output
    again = CliRunner().invoke(cli, [*home, "log", "withdraw", span, "--reason", "not cut"])
    assert again.exit_code == 3
    assert "all of these were withdrawn before" in again.stderr
    single = CliRunner().invoke(cli, [*home, "log", "withdraw", span, str(logged[1]), "--reason", "not cut"])
    assert single.exit_code == 3


def test_the_list_speaks_plainly_and_shows_what_was_typed(stocked, planned):
    log_step(stocked, planned.id, 1, operator="KL", minutes=12, blade_edge=2)
    stocked.close()
    listed = CliRunner().invoke(cli, ["--home", str(stocked.home.folder), "log", "list"]).output
    cut = next(line for line in listed.splitlines() if "; edge 2; 12 min; by KL" in line)
    assert "  cut  " in cut
    assert cut.endswith("to be sent")
    assert not any(code in listed for code in ("cuts.made", "stock.taken", "pending"))


def test_spoiled_parts_that_were_none_count_again(stocked, planned):
    part = planned.order.parts[0].ref
    early = log_spoiled(stocked, planned.id, planned.plan, planned.order, part, 2, "burr")
    log_withdrawn(stocked, rows(early), "was good")
    assert spoiled_parts(stocked.outbox.sql, planned.id, part).early == 0
    for step in planned.plan.program:
        log_step(stocked, planned.id, step.number)
    made = sum(
        each["quantity"]
        for one in stocked.outbox.all_events()
        if one.type == "cuts.made"
        for each in one.event["payload"]["parts"]
        if each["ref"] == part
    )
    assert made == planned.order.parts[0].quantity
    late = log_spoiled(stocked, planned.id, planned.plan, planned.order, part, 1, "burr")
    assert spoiled_parts(stocked.outbox.sql, planned.id, part).made == 1
    log_withdrawn(stocked, rows(late), "was good")
    assert spoiled_parts(stocked.outbox.sql, planned.id, part).made == 0


def test_an_entry_is_withdrawn_once_and_a_withdrawal_never(stocked):
    machine = stocked.machine("bench-3m")
    number = rows(log_taken(stocked, "SH-A", 3, machine))[0]
    own = rows(log_withdrawn(stocked, [number], "wrong rack"))[0]
    assert counts(stocked)["SH-A"] == 8
    for wrong, words in (
        (number, "was withdrawn before"),
        (own, "is itself a withdrawal"),
        (99, "no entry 99"),
    ):
        with pytest.raises(InputWrong, match=words):
            log_withdrawn(stocked, [wrong], "again")
    assert len(list(stocked.outbox.all_events())) == 2


def test_the_name_of_a_withdrawn_offcut_can_be_given_again(stocked):
    machine, material = stocked.machine("bench-3m"), stocked.material("S235JR")
    wrong = log_offcut(stocked, Sheet(material, 300, 90_000, 50_000, 1), machine, ref="OC-1")
    log_withdrawn(stocked, rows(wrong), "900 is the width")
    log_offcut(stocked, Sheet(material, 300, 9_000, 50_000, 1), machine, ref="OC-1")
    (item,) = [one for one in stocked.rack() if one.ref == "OC-1"]
    assert (item.length, item.quantity) == (9_000, 1)


def test_the_command_tells_the_number_lists_it_and_withdraws_it(stocked):
    stocked.close()
    home = ["--home", str(stocked.home.folder)]

    def run(*words):
        return CliRunner().invoke(cli, [*home, *words])

    done = run("log", "taken", "SH-A", "--quantity", "2", "--machine", "bench-3m")
    assert done.output.splitlines()[0] == "written: entry 1"
    listed = run("log", "list", "--last", "5")
    assert "2 of SH-A; on bench-3m" in listed.output
    assert run("log", "withdraw", "1", "--reason", "wrong rack").exit_code == 0
    listed = run("log", "list").output
    assert "withdrawn" in listed
    assert "of entry 1: wrong rack" in listed
    assert run("log", "withdraw", "1", "--reason", "again").exit_code == 3
    assert run("log", "withdraw", "one", "--reason", "again").exit_code == 3


def test_at_the_centre_it_is_as_if_the_step_had_not_been_logged(service, connected, order_document):
    with connected(service) as station:
        assert sync_once(station).complete
        plan = plan_here(station, order_document)
        logged = log_step(station, plan.id, 1)
        assert sync_once(station).complete
        log_withdrawn(station, rows(logged), "wrong order")
        report = sync_once(station)
        assert report.complete
        assert report.pushed.applied == len(logged.events)
        assert report.counts.quarantined == 0
        assert {ref: count for ref, count in counts(station).items() if count} == {"SH-A": 8}
    token = service.plan_token()
    assert service.get("/v1/reports/yield?by=machine", token)["rows"] == []
    assert "equal to a recount" in service.command("audit")


def test_what_another_station_logged_of_the_step_is_told_at_the_next_sync(service, connected, order_document):
    with connected(service, "bench1") as one, connected(service, "bench2") as two:
        for station in (one, two):
            sync_once(station)
        # The same rack gives the same plan at both.
        (plan_id,) = {plan_here(station, order_document).id for station in (one, two)}
        logged = {name: log_step(at, plan_id, 1) for name, at in (("bench1", one), ("bench2", two))}
        for station in (one, two):
            assert sync_once(station).notices == ()
        log_withdrawn(one, rows(logged["bench1"]), "cut at the other bench")
        (notice,) = sync_once(one).notices
    other = next(each for each in logged["bench2"].events if each.type == "cuts.made")
    pieces = other.event["payload"]["step_pieces"]
    assert notice == (
        f"step 1 of plan {plan_id} still counts {pieces} of {pieces} pieces, by other entries: "
        f"number {other.seq} of epoch {other.epoch[:8]} of bench2 "
        f"({pieces} {'piece' if pieces == 1 else 'pieces'})"
    )


def test_a_run_that_is_refused_for_one_entry_says_that_nothing_was_written(stocked):
    machine = stocked.machine("bench-3m")
    numbers = [row for _ in range(2) for row in rows(log_gauge(stocked, machine, 30_000, 30_010))]
    log_withdrawn(stocked, numbers[:1], "wrong")
    before = stocked.outbox.last_row()
    with pytest.raises(InputWrong, match=f"entry {numbers[0]} was withdrawn before; nothing was written"):
        log_withdrawn(stocked, numbers, "wrong too")
    assert stocked.outbox.last_row() == before


def test_what_was_written_together_is_found_across_epochs(stocked, order_document):
    """The centre has the first of a step's entries; the others were written again under a new epoch."""
    plan = plan_here(stocked, order_document)
    logged = log_step(stocked, plan.id, 1)
    assert len(logged.events) > 2
    first, *others = logged.events
    stocked.outbox.answered({first.row: ("taken", None)})
    stocked.outbox.reissue(first.epoch, first.seq + 1, "for the test")
    notes = log_withdrawn(stocked, [first.row], "not cut").notes
    assert any(note.startswith("written together with it and still counting") for note in notes)
    newest = [one.row for one in stocked.outbox.latest(len(others) + 1)[1:]]
    assert any(all(f"{row} (" in note for row in newest) for note in notes)


def test_what_was_put_aside_is_withdrawn_once_though_the_centre_knows_nothing_of_it(stocked, planned):
    """The centre refuses the withdrawal of an entry that it never took in; here it holds."""
    logged = log_step(stocked, planned.id, 1)
    before = counts(stocked)
    stocked.outbox.answered(dict.fromkeys(rows(logged), ("aside", "[]")))
    gone = log_withdrawn(stocked, rows(logged), "wrong step")
    stocked.outbox.answered(dict.fromkeys(rows(gone), ("quarantined", "[]")))
    after = counts(stocked)
    assert after != before
    with pytest.raises(InputWrong, match="withdrawn before"):
        log_withdrawn(stocked, rows(logged), "wrong step")
    assert counts(stocked) == after
    assert stocked.outbox.retry_aside() == 0


def test_what_a_refused_withdrawal_has_undone_here_is_not_undone_again(stocked, planned):
    """Of two pieces logged one was wrong: the other still counts, however often that one is withdrawn."""
    wrong = log_step(stocked, planned.id, 1, pieces=1)
    stocked.outbox.answered(dict.fromkeys(rows(wrong), ("taken", "[]")))
    log_step(stocked, planned.id, 1, pieces=1, again=True)
    assert pieces_done(stocked.outbox.sql, planned.id) == {1: 2}
    gone = log_withdrawn(stocked, rows(wrong), "wrong step")
    assert pieces_done(stocked.outbox.sql, planned.id) == {1: 1}
    stocked.outbox.answered(dict.fromkeys(rows(gone), ("quarantined", "[]")))
    log_withdrawn(stocked, rows(wrong), "wrong step")
    assert pieces_done(stocked.outbox.sql, planned.id) == {1: 1}
