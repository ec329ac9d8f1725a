import json
import subprocess
import sys
from pathlib import Path

import pytest

from client.errors import StoreFailed
from client.planning import plan_here, write_papers
from schemas.plans import read_plan
from service.engine.fingerprint import fingerprint
from service.engine.verifier import verify

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def planned(stocked, order_document):
    return plan_here(stocked, order_document)


def test_a_plan_made_offline_stands_up_to_an_independent_replay(planned):
    assert verify(planned.document).faults == ()


def test_a_plans_id_is_the_beginning_of_its_fingerprint(planned):
    assert planned.id == fingerprint(planned.order)[:16] == planned.plan.fingerprint[:16]


def test_the_plan_is_kept_and_the_same_order_again_is_the_same_plan(stocked, planned, order_document):
    assert plan_here(stocked, order_document) == planned
    assert read_plan(stocked.plan_document(planned.id)) == (planned.plan, planned.order)


def test_another_process_makes_the_same_plan_byte_for_byte(home, stocked, planned, order_document):
    child = """
import json, sys
from pathlib import Path
from client.home import Home
from client.planning import plan_here
from client.workstation import workstation_at
from service.engine.fingerprint import canonical_json
with workstation_at(Home(Path(sys.argv[1]))) as station:
    sys.stdout.buffer.write(canonical_json(plan_here(station, json.loads(sys.argv[2])).document))
"""
    from service.engine.fingerprint import canonical_json

    for seed in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", child, str(home.folder), json.dumps(order_document)],
            cwd=ROOT,
            capture_output=True,
            check=True,
            env={"PYTHONHASHSEED": seed, "PATH": ""},
        )
        assert done.stdout == canonical_json(planned.document)


def test_the_stock_of_a_plan_is_what_is_on_the_rack_now(stocked, planned, order_document):
    from client.log.without_plan import log_taken

    log_taken(stocked, "SH-A", 6, stocked.machine("bench-3m"))
    again = plan_here(stocked, order_document)
    assert [item.quantity for item in again.order.stock] == [2]
    assert again.id != planned.id


def test_papers_are_written_for_a_plan(planned, tmp_path):
    papers = write_papers(planned, tmp_path / "new" / "folder")
    names = {paper.name for paper in papers}
    layouts = {f"layout-{layout.number}.svg" for layout in planned.plan.layouts}
    assert names == {"plan.json", "program.txt", "program.csv", *layouts}
    read = json.loads((tmp_path / "new" / "folder" / "plan.json").read_text())
    assert read_plan(read) == (planned.plan, planned.order)
    table = (tmp_path / "new" / "folder" / "program.csv").read_bytes()
    assert table.startswith(b"\xef\xbb\xbf")
    assert len(table.decode("utf-8-sig").splitlines()) == len(planned.plan.program) + 1
    assert "<svg" in (tmp_path / "new" / "folder" / "layout-1.svg").read_text()


def test_a_ref_that_a_spreadsheet_would_run_is_guarded(stocked, order_document, tmp_path):
    order_document["parts"][0]["ref"] = "=1+1"
    write_papers(plan_here(stocked, order_document), tmp_path)
    cells = (tmp_path / "program.csv").read_text(encoding="utf-8-sig")
    assert ",=1+1" not in cells


def test_a_folder_that_cannot_be_made_is_told(planned, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreFailed, match="cannot make the folder"):
        write_papers(planned, tmp_path / "file" / "below")


def test_the_answer_with_a_plan_is_waited_for_as_long_as_the_largest_order_takes(station):
    """Thirty-four seconds were measured on a slow computer."""
    station.home.plan_token_file.write_text("secret", encoding="utf-8")
    assert station.wire().timeout_s < 34 < station.plan_wire().timeout_s
