"""One run of `shearwright check` tells everything: columns, grades, force, rating, and doubtful units."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from client.cli import cli

HEAD = "ref,length,width,quantity,material,thickness\n"


@pytest.fixture
def check(stocked, tmp_path):
    def made(lines, *words, command="check"):
        file = tmp_path / "order.csv"
        file.write_text(HEAD + lines)
        return CliRunner().invoke(cli, ["--home", str(stocked.home.folder), command, str(file), *words])

    return made


def test_what_the_machine_cannot_cut_is_a_fault_by_its_line(check):
    done = check(
        "A,400,300,1,S235JR,3\n"
        "B,400,300,1,S235JR,500\n"
        "C,400,300,1,wear plate 500 HBW,2\n"
        "D,3400,3100,1,S235JR,3\n"
    )
    assert done.exit_code == 1, done.output
    assert "3 faults" in done.stderr
    assert "line 3, thickness: 500 mm of S235JR" in done.stderr
    assert "line 4, thickness: wear plate 500 HBW is hardened" in done.stderr
    assert "line 5, width: 3100 mm is more than the cutting length of 3000 mm" in done.stderr
    assert "there is no stock of S235JR 500 mm" in done.stdout


def test_an_unknown_grade_is_told_with_the_other_faults(check):
    done = check("A,x,300,1,S235JR,3\nB,400,300,0,S2355,3\nC,400,300,1,S235JR,50\n")
    assert done.exit_code == 3
    assert "4 faults" in done.stderr
    for line in (
        "line 2, length",
        "line 3, quantity",
        "line 3, material: no material is known",
        "line 4, thi",
    ):
        assert line in done.stderr
    # The same where every cell can be read by itself, and the contract refuses the line.
    done = check("A,400,300,1,S235JR,3\nA,400,300,1,S2355,3\nC,400,300,1,S235JR,50\n")
    assert done.exit_code == 3
    assert "3 faults" in done.stderr


def test_a_grade_is_told_once(check):
    done = check("A,400,300,1,S2355,3\n")
    assert "cannot be planned as it is: 1 fault\n" in done.stderr


def test_what_cannot_be_made_is_no_fault_of_an_order_that_is_to_be_planned(check):
    done = check("A,400,300,1,S235JR,3\nA,400,300,1,S235JR,3\nC,400,300,1,S235JR,500\n", command="plan")
    assert done.exit_code == 3
    assert "1 fault\n" in done.stderr
    assert "line 3, ref" in done.stderr
    assert "line 4" not in done.stderr


@pytest.mark.parametrize("command", ["check", "plan"])
def test_all_that_stands_against_planning_is_told_in_one_run(check, command):
    done = check("A,400,300,1,S235JR,3\nA,400,300,1,S2355,3\nC,x,300,1,S235JR,3\n", command=command)
    assert done.exit_code == 3
    assert "3 faults\n" in done.stderr
    for where in ("line 3, ref: 'A' is already used on line 2", "line 3, material", "line 4, length"):
        assert where in done.stderr


@pytest.mark.parametrize(("line", "missing"), [(",0.9", "plus"), ("0,", "minus")])
def test_a_limit_alone_is_asked_about(stocked, tmp_path, line, missing):
    file = tmp_path / "order.csv"
    file.write_text(f"{HEAD.strip()},plus,minus\nA,400,300,1,S235JR,3,{line}\n")
    done = CliRunner().invoke(cli, ["--home", str(stocked.home.folder), "plan", str(file)])
    assert done.exit_code == 3
    assert f"line 2, {missing}:" in done.stderr
    assert f"without {missing}" in done.stderr


def test_numbers_that_look_like_inches_are_asked_about(check):
    done = check("A,12,8,1,S235JR,0.25\nB,40,30,1,S235JR,0.5\n")
    assert done.exit_code == 1
    assert "is 40 × 30 × 0.5 meant in inches?" in done.stderr
    assert "meant in inches?" in check("A,12,8,1,S235JR,0.25\n", command="plan").stderr
    for words in (("--units", "mm"), ("--units", "in")):
        assert "meant in inches" not in check("A,12,8,1,S235JR,0.25\n", *words).stderr


@pytest.mark.parametrize(
    "lines", ["A,120,80,1,S235JR,3\n", "A,400,80,1,DC01,0.5\n", 'A,"12""","8""",1,S235JR,"1/8"""\n']
)
def test_numbers_that_are_millimetres_or_have_a_unit_are_not_asked_about(check, lines):
    assert "meant in inches" not in check(lines).output


def test_a_sheet_that_is_a_part_as_it_is_needs_no_cut(stocked, check, changed, page):
    lines = "A,4000,3500,1,S235JR,3\n"
    assert "more than the cutting length" in check(lines).stderr
    sheet = {
        "site": "northgate",
        "ref": "SH-B",
        "length": 4000,
        "width": 3500,
        "quantity": 1,
        "material": "S235JR",
        "thickness": 3,
    }
    sent = page([changed("stock", "northgate/SH-B", sheet)])
    stocked.records.take_page(
        sent["changes"],
        cursor="c2",
        centre_epoch=sent["centre_epoch"],
        last=True,
        server_time=sent["server_time"],
        settled_to=0,
    )
    assert check(lines).exit_code == 0


def test_a_certificate_of_the_stock_may_bring_a_sheet_inside_the_rating(stocked, check, changed, page):
    # 5.8 mm of S235JR may have 510 N/mm² and then counts as 5.8 · √(510/450) = 6.17 mm of a 6 mm rating;
    # with 420 N/mm² by its certificate it counts as 5.60 mm.
    lines = "A,400,300,1,S235JR,5.8\n"
    assert "counts as 6.17 mm" in check(lines).stderr
    sheet = {"site": "northgate", "ref": "SH-C", "length": 2500, "width": 1250, "quantity": 1}
    steel = {"material": "S235JR", "thickness": 5.8, "tensile_strength_n_mm2": 420, "certificate": "3.1/9"}
    sent = page([changed("stock", "northgate/SH-C", {**sheet, **steel})])
    stocked.records.take_page(
        sent["changes"],
        cursor="c2",
        centre_epoch=sent["centre_epoch"],
        last=True,
        server_time=sent["server_time"],
        settled_to=0,
    )
    done = check(lines)
    assert done.exit_code == 0, done.output
