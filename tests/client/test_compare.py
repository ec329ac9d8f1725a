"""Plans to choose from, a ceiling on the time, and what is said meanwhile."""

import pytest
from click.testing import CliRunner

from client.cli import cli
from client.compare import Teller, comparison_lines
from client.errors import InputWrong
from client.planning import KeptPlan, plan_here, write_papers
from schemas.plans import read_plan
from schemas.problems import WireError
from service.drawing.text import program_text, step_text
from service.engine.choose import Progress
from service.engine.verifier import verify

SIZES = ((600, 300, 5), (410, 230, 9), (655, 175, 7), (820, 440, 3), (390, 120, 8), (505, 340, 4))


@pytest.fixture
def varied(order_document):
    part = order_document["parts"][0]
    parts = [
        {**part, "ref": f"P{number}", "length": length, "width": width, "quantity": quantity}
        for number, (length, width, quantity) in enumerate(SIZES, 1)
    ]
    return {**order_document, "parts": parts, "options": {"objective": "compare", "effort": "quick"}}


def test_all_plans_of_a_comparison_are_kept_and_shown_in_a_table(stocked, varied):
    kept = plan_here(stocked, varied)
    head, *rows, last, counts, listed, best, then, less = comparison_lines(kept)
    assert head.split()[:2] == ["pick", "plan"]
    assert [row.split()[1] for row in rows] == [kept.id, *(one.id for one in kept.others)]
    assert "recommended" in rows[0]
    assert "kept" in last
    shown = KeptPlan(kept.id, kept.plan, kept.order)
    assert list(comparison_lines(shown)) == [head, *rows, last, counts, listed, best, then, less]
    for pick, one in enumerate(kept.others, 1):
        (told,) = comparison_lines(one)
        assert f"pick {pick}" in told
        assert kept.id in told
    for row, one in zip(rows, (kept, *kept.others), strict=True):
        figures = one.plan.summary
        assert f"{figures.offcut_area_mm2 / 1e6:.2f} m²" in row
        assert f"{figures.scrap_kg:.1f} kg" in row
    for one in (kept, *kept.others):
        assert stocked.plan_document(one.id) == one.document
        assert verify(one.document).faults == ()


def test_the_pick_of_a_comparison_is_that_plan(stocked, varied):
    kept = plan_here(stocked, varied)
    options = {**varied["options"], "pick": 1}
    assert plan_here(stocked, {**varied, "options": options}) == kept.others[0]


def test_a_pick_beyond_the_comparison_is_told_with_its_place(stocked, order_document):
    options = {"objective": "compare", "effort": "quick", "pick": 4}
    with pytest.raises(WireError) as told:
        plan_here(stocked, {**order_document, "options": options})
    assert told.value.errors[0].pointer == "/options/pick"
    assert told.value.errors[0].message == "the comparison has 2 plans, counted from 0, and no plan 4"


def test_a_plan_that_was_cut_short_is_not_kept_as_the_plan_of_its_order(stocked, varied):
    short = plan_here(stocked, {**varied, "options": {"effort": "thorough"}}, stop=lambda: True)
    assert short.plan.cut_short
    assert short.plan.stopped_early
    assert short.id != short.plan.fingerprint[:16]
    with pytest.raises(InputWrong, match="no plan is known"):
        stocked.plan_document(short.plan.fingerprint[:16])
    assert stocked.plan_document(short.id) == short.document
    assert verify(short.document).faults == ()


def test_a_plan_that_was_cut_short_is_printed_under_the_id_by_which_it_is_found(stocked, varied, tmp_path):
    short = plan_here(stocked, {**varied, "options": {"effort": "thorough"}}, stop=lambda: True)
    papers = {one.name: one.read_text("utf-8") for one in write_papers(short, tmp_path)}
    for name in ("program.txt", "layout-1.svg"):
        assert f"plan {short.id}" in papers[name]
        assert short.plan.fingerprint[:16] not in papers[name]
    # As it is read again, and without being told its id.
    assert program_text(*read_plan(short.document)) == papers["program.txt"]
    with pytest.raises(ValueError, match=f"plan {short.id} has no step 999"):
        step_text(short.plan, short.order, 999)
    shown = CliRunner().invoke(cli, ["--home", str(stocked.home.folder), "show", short.id])
    assert shown.output.startswith(papers["program.txt"].rstrip())


def test_watching_changes_nothing(stocked, varied):
    seen = []
    watched = plan_here(stocked, varied, progress=seen.append, stop=lambda: False)
    assert watched == plan_here(stocked, varied)
    assert [one.searches for one in seen] == sorted(one.searches for one in seen)
    assert seen[-1].best is not None
    assert seen[-1].searches <= seen[-1].of


def test_nothing_is_said_at_first_and_then_now_and_then():
    said, now = [], [0.0]
    teller = Teller(said.append, ceiling=10.0, clock=lambda: now[0])
    for at in (0.5, 1.0, 2.0, 2.5, 5.0):
        now[0] = at
        teller.progress(Progress(1, 8, 3, None))
    assert said == [f"planning: 1 of 8 searches done after {at} s" for at in (2, 5)]
    assert not teller.over()
    now[0] = 10.0
    assert teller.over()


def test_what_a_search_has_come_to_is_told_beside_what_is_planned():
    from fractions import Fraction

    from service.engine.layout.job import SoFar
    from service.engine.objectives import Figures

    said, now = [], [0.0]
    teller = Teller(said.append, clock=lambda: now[0])
    planned = Figures(0, Fraction(90), 1, 3, 0, 0, 0, 12.0, 0.0)
    for best, under_way in [
        (None, SoFar(4, 1, Fraction(737, 2), 2)),
        (planned, SoFar(4, 1, Fraction(300), 0)),
        (planned, None),
        (None, SoFar(4, 0, Fraction(300), 0)),
    ]:
        now[0] += 3
        teller.progress(Progress(1, 8, 3, best, under_way))
    assert [line.partition("; ")[2] for line in said] == [
        "best so far 4 sheets and 1 offcut for 368.50, 2 pieces left out",
        "best so far 5 sheets and 3 offcuts",
        "best so far 1 sheet and 2 offcuts, 12 min",
        "best so far 4 sheets for 300.00",
    ]


def test_what_handling_counts_and_why_a_plan_is_recommended_is_said(stocked, varied):
    told = "\n".join(comparison_lines(plan_here(stocked, varied)))
    assert "handling counts 3 for each gauge setting, 3 for each step with a turn" in told
    assert "recommended is the plan of least material" in told


def test_the_recommended_plan_tells_of_itself_what_it_tells_of_the_others(stocked, varied):
    kept = plan_here(stocked, varied)
    told = [(kept.plan.best_at, kept.plan.summary.handling)]
    told += [(one.best_at, one.handling) for one in kept.plan.alternatives]
    assert told == [(one.plan.best_at, one.plan.summary.handling) for one in (kept, *kept.others)]
    material, handling = (
        [objective in best_at for best_at, _ in told] for objective in ("material", "handling")
    )
    assert material[0]
    points = [points for _, points in told]
    assert handling == [one == min(points) for one in points]
