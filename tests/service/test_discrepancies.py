"""What does not add up shows, is listed by the command, and is settled by a person."""

from __future__ import annotations

from typing import Any

import pytest
from click.testing import CliRunner

from service.cli import main
from service.store.database import database
from tests.service.shop import PLAN, Service, Station, discrepancies, piece, sheet, states, step_cut


@pytest.mark.parametrize(
    ("taken", "differs"),
    [
        ({"length_mm": 3000}, {"length_mm": {"taken": 3000, "record": 2500}}),
        (
            {"width_mm": 1250.01, "thickness_mm": 3.5},
            {
                "width_mm": {"taken": 1250.01, "record": 1250},
                "thickness_mm": {"taken": 3.5, "record": 3},
            },
        ),
        ({"material": "S355JR"}, {"material": {"taken": "S355JR", "record": "S235JR"}}),
        ({"length_mm": 2500.0}, None),
    ],
)
def test_a_sheet_that_is_not_as_its_record_says_shows(
    service: Service, station: Station, taken: dict[str, Any], differs: dict[str, Any] | None
) -> None:
    event = station.write("stock.taken", {**piece(**taken), "ref": "SH-A"})
    assert states(service.push([event])) == ["applied"]
    assert service.get("/stock/northgate/SH-A").json["quantity"] == 7
    found = discrepancies(service)
    if differs is None:
        assert found == []
        return
    (one,) = found
    assert (one["kind"], one["ref"], one["differs"]) == ("size differs", "SH-A", differs)
    assert one["taken"] is None
    assert one["events"] == []
    answer = service.post(
        f"/sync/discrepancies/{one['id']}/settle", {"words": "the record was wrong", "counted": 6}, "plan"
    )
    assert answer.status_code == 200
    assert service.get("/stock/northgate/SH-A").json["quantity"] == 6


def test_an_offcut_that_is_not_as_its_record_says_and_more_than_there_were_shows_twice(
    service: Service, station: Station
) -> None:
    service.post("/stock", sheet("OC-9", kind="offcut", length=900, width=400, quantity=1))
    event = station.write("stock.taken", {**piece(length_mm=800, width_mm=400, quantity=2), "ref": "OC-9"})
    service.push([event])
    assert {one["kind"] for one in discrepancies(service)} == {"stock short", "size differs"}
    gone = station.write("log.withdrawn", {"event_id": event["event_id"], "reason": "another one"})
    assert states(service.push([gone])) == ["applied"]
    assert discrepancies(service) == []
    assert service.get("/stock/northgate/OC-9").json["quantity"] == 1


def test_the_command_lists_and_settles_what_does_not_add_up(small: Service, station: Station) -> None:
    def run(*words: str) -> Any:
        database.close()
        return CliRunner().invoke(main, ["--database", small.address, "discrepancies", *words])

    short = {**piece(quantity=9, length_mm=3000), "ref": "SH-A"}
    small.push([step_cut(station), step_cut(station, 1), station.write("stock.taken", short)])
    of = f"of epoch {station.epoch[:8]} of ng-1"
    lines = run("list").output.splitlines()
    assert [line.rsplit("  ", 1)[1].split(", noted ")[0] for line in lines] == [
        f"number {number} {of} at northgate, 2026-03-02 09:15 UTC" for number in (2, 3, 3)
    ]
    assert [line.rsplit("  ", 1)[0] for line in lines] == [
        f"1  northgate/plan {PLAN} step 2  S235JR  pieces cut 5, planned 4 (counted now: ng-1 4, ng-1 1)",
        "2  northgate/SH-A  S235JR  length_mm 3000 taken, 2500 on the record",
        "3  northgate/SH-A  S235JR  taken 9, on the books 8",
    ]
    refused = run("settle", "1", "--words", "cut again", "--counted", "3")
    assert refused.exit_code == 1
    assert "not the rack" in refused.output
    settled = run("settle", "1", "--words", "one was spoiled").output.splitlines()
    assert settled[0] == f"settled: northgate/plan {PLAN} step 2"
    assert "counts in the reports as before" in settled[1]
    assert "shearwright log withdraw" in settled[1]
    assert settled[2:] == [
        f"  number 1 {of} counts 4 of the pieces",
        f"  number 2 {of} counts 1 of the pieces",
    ]
    settled = run("settle", "3", "--words", "counted", "--counted", "2").output.splitlines()
    assert settled[0] == "settled: northgate/SH-A"
    assert settled[2:] == [f"  it was noted for number 3 {of} at northgate, 2026-03-02 09:15 UTC"]
    assert len(run("list").output.splitlines()) == 1
    run("settle", "2", "--words", "counted")
    assert run("list").output == "none that is open\n"
