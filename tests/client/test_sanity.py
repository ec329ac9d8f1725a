"""Figures that are hardly meant so are asked about, and written down when the operator is sure."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from client.cli import cli
from client.planning import plan_here

CENTRE_EPOCH = "11111111-1111-4111-8111-111111111111"


@pytest.fixture
def run(stocked):
    def made(*words):
        return CliRunner().invoke(cli, ["--home", str(stocked.home.folder), *words])

    return made


SHEET = ("--material", "S235JR", "--thickness", "3")
THICK = ("--material", "S235JR", "--thickness", "20")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("taken", "SH-A", "--quantity", "4000"), "show 8 of SH-A, and 4000 are taken"),
        (("gauge", "--gauge", "22", "--measured", "220"), "220 mm from a gauge value of 22 mm"),
        (("gauge", "--gauge", "300", "--measured", "330"), "330 mm from a gauge value of 300 mm"),
        (("gauge", "--gauge", "1200", "--measured", "1200.5"), "goes from 5 to 1000 mm, not to 1200"),
        (("cuts", *THICK, "--cut-length", "500"), "rated for 6 mm"),
        (("edge", "--radius", "0.12"), "120 µm (0.12 mm) may be meant"),
        (("cuts", *SHEET, "--cut-length", "500", "--minutes", "900000"), "15,000 hours"),
        (("cuts", *SHEET, "--cut-length", "500", "--strokes", "20000"), "20000 strokes"),
        (("edge", "--radius", "5000"), "is 5 mm"),
        (("edge", "--burr", "4", "--thickness", "3"), "higher than the sheet is thick"),
        (
            ("offcut", *SHEET, "--length", "9000", "--width", "500", "--from-stock", "SH-A"),
            "9000 × 500 mm from SH-A, which is 2500 × 1250 mm",
        ),
        (
            (
                "scrap",
                *SHEET,
                "--length",
                "2500",
                "--width",
                "1250",
                "--quantity",
                "5000",
                "--reason",
                "other",
            ),
            "t together",
        ),
    ],
)
def test_a_figure_far_from_what_happens_is_written_only_by_one_who_is_sure(run, stocked, words, said):
    done = run("log", *words)
    assert done.exit_code == 3
    assert said in done.output
    assert "--sure" in done.output
    assert stocked.outbox.latest(1) == []
    assert run("log", *words, "--sure").exit_code == 0
    assert len(stocked.outbox.latest(5)) == 1


@pytest.mark.parametrize(
    "words",
    [
        ("taken", "SH-A", "--quantity", "9"),
        ("gauge", "--gauge", "22", "--measured", "24.5"),
        ("cuts", *SHEET, "--cut-length", "500", "--minutes", "480", "--strokes", "2000"),
        ("edge", "--radius", "150", "--burr", "0.3", "--thickness", "3"),
        ("offcut", *SHEET, "--length", "1250", "--width", "2500", "--from-stock", "SH-A"),
    ],
)
def test_what_does_happen_is_written_without_a_question(run, words):
    done = run("log", *words)
    assert done.exit_code == 0, done.output


def test_more_scrap_than_was_ordered_is_asked_about(run, stocked, order_document):
    plan = plan_here(stocked, order_document)
    words = ("log", "scrap", "--plan", plan.id, "--part", "P2", "--quantity", "50", "--reason", "burr")
    done = run(*words)
    assert done.exit_code == 3
    assert "7 of P2 are ordered, and 50 are scrap" in done.output
    assert run(*words, "--sure").exit_code == 0


def test_a_program_below_the_back_gauge_is_asked_about(run, stocked, tmp_path):
    program = {
        "name": "Strips",
        "material": "S235JR",
        "thickness_mm": 3,
        "cut_length_mm": 1000,
        "steps": [{"gauge_mm": 300}, {"gauge_mm": 2}],
    }
    file = tmp_path / "program.json"
    file.write_text(json.dumps(program))
    done = run("log", "program", str(file))
    assert done.exit_code == 3
    assert "step 2 sets the back gauge to 2 mm" in done.output
    assert "from 5 to 1000 mm" in done.output
    assert run("log", "program", str(file), "--sure").exit_code == 0


def test_another_edge_than_the_one_at_work_gets_a_note(run, stocked, changed):
    blade = {"id": "BL-1", "machine": "bench-3m", "edges": 4, "edge": 2, "used_m": [0, 0, 0, 0]}
    stocked.records.take_page(
        [changed("blade", "BL-1", blade)],
        cursor="c2",
        centre_epoch=CENTRE_EPOCH,
        last=True,
        server_time="2026-03-02T09:00:00Z",
        settled_to=0,
    )
    cut = ("log", "cuts", *SHEET, "--cut-length", "500", "--edge")
    assert "by the records edge 2 of bench-3m is at work" in run(*cut, "3").output
    assert "at work" not in run(*cut, "2").output
    run("log", "blade", "3")
    assert "at work" not in run(*cut, "3").output


def test_without_records_it_is_said_that_they_are_missing(station):
    def run(*words):
        return CliRunner().invoke(cli, ["--home", str(station.home.folder), *words])

    for words in (
        ("stock",),
        ("machines",),
        ("log", "gauge", "--gauge", "22", "--measured", "22", "--machine", "bench-3m"),
        ("log", "gauge", "--gauge", "22", "--measured", "22"),
    ):
        done = run(*words)
        assert done.exit_code == 4, done.output
        assert "run shearwright pull" in done.output


def test_the_help_of_a_program_shows_its_form_line_by_line(run):
    done = run("log", "program", "--help")
    assert "\\b" not in done.output
    assert '{"name": "Shelf blanks"' in done.output
