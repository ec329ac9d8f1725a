"""What a machine can cut, drawn offline; and measured parts that move the gauge or leave it."""

import json

import pytest
from click.testing import CliRunner

from client.cli import cli


@pytest.fixture
def run(home, stocked):
    stocked.close()

    def command(*words):
        return CliRunner().invoke(cli, ["--home", str(home.folder), *words])

    return command


def test_curves_are_drawn_without_the_network(run, tmp_path):
    out = tmp_path / "made" / "curves"
    done = run("curves", "bench-3m", "--out", str(out), "--grade", "S235JR", "--grade", "1.4301")
    assert done.exit_code == 0, done.output
    names = {path.name for path in out.iterdir()}
    assert names == {
        "capacity.svg",
        "capacity.txt",
        "capacity.json",
        "force-S235JR.svg",
        "force-1-4301.svg",
    }
    for name in names:
        assert str(out / name) in done.output
    rows = json.loads((out / "capacity.json").read_text())["rows"]
    text = (out / "capacity.txt").read_text()
    for row in rows:
        assert row["grade"] in text
    steel = next(row for row in rows if row["grade"] == "plain steel" and row["cut_length_mm"] == 3000)
    assert steel["governed_by"] == "rating"
    assert steel["thickness_mm"] == 6
    assert "6.00 R" in text


def test_the_same_machine_gives_the_same_bytes(run, tmp_path):
    for name in ("one", "two"):
        assert run("curves", "--out", str(tmp_path / name)).exit_code == 0
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere"], "no machine is known by the id 'nowhere'"),
        (["--grade", "S2355"], "or S235JR"),
        (["--grade", "wear plate 500 HBW"], "none of them may be put under a shear"),
        (["--grade", "S235JR"] * 9, "at most 8"),
    ],
)
def test_what_cannot_be_drawn_is_said(run, tmp_path, words, said):
    done = run("curves", *words, "--out", str(tmp_path / "x"))
    assert done.exit_code == 3
    assert said in done.stderr
    assert not (tmp_path / "x").exists()


def test_a_folder_that_cannot_be_made_is_said(run, tmp_path):
    (tmp_path / "x").write_text("in the way")
    done = run("curves", "--out", str(tmp_path / "x" / "y"))
    assert done.exit_code == 8
    assert "cannot make the folder" in done.stderr


def test_measured_parts_move_the_gauge(run):
    words = [f"--measured={size}" for size in (300.11, 300.13, 300.12, 300.14, 300.1)]
    done = run("gauge-check", "--gauge", "300", *words, "--minus", "0.2", "--plus", "0.2")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("correct: parts come out 0.12 mm too deep")
    assert "gauge value for 300 mm: 299.88 mm" in done.stdout
    assert "Cp 4.22, Cpk 1.69" in done.stdout


def test_a_tolerance_with_one_limit_is_refused(run):
    done = run("gauge-check", "--gauge", "300", "--measured", "300.1", "--plus", "0.2")
    assert done.exit_code == 3
    assert "minus and plus go together" in done.stderr
