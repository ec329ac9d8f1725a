"""Every kind of damage to a sound plan is found, and called by its name.

The plan is the worked one of the trade primer (own example); each case breaks it in one way.
"""

from __future__ import annotations

import pytest

from service.engine.verifier import verify
from tests.engine.verifier.damage import Damage, machine, part
from tests.engine.verifier.damages import figures, layouts, order, quality, steps
from tests.engine.verifier.damages import machine as machine_damages
from tests.engine.verifier.worked import worked_plan

DAMAGES = [one for kind in (quality, steps, order, machine_damages, layouts, figures) for one in kind.damage]


@pytest.mark.parametrize(
    ("code", "breaks"), [pytest.param(code, breaks, id=breaks.__name__) for code, breaks in DAMAGES]
)
def test_damage_is_found_by_its_name(code: str, breaks: Damage) -> None:
    plan = worked_plan()
    breaks(plan)
    verdict = verify(plan)
    assert not verdict.ok
    assert code in verdict.codes(), verdict.faults


def test_sharp_limits_are_kept_on_their_good_side() -> None:
    """What lies exactly on a limit is allowed: the same limits as in the damages, a hundredth back."""
    plan = worked_plan()
    machine(plan)["hold_down"].update(
        clamping_depth_mm=95.0, feet_mm=[100.0, 300.0, 500.0], foot_width_mm=200.0
    )
    machine(plan)["back_gauge"].update(low_mm=5.0, high_mm=600.0, accuracy_mm=0.5)
    machine(plan).update(cutting_length_mm=2500.0, smallest_drop_mm=5.0, force_limit_kn=90.0)
    machine(plan)["max_thickness_mm"] = 3.0
    # 3 mm at 510 N/mm² counts as 3·√(510/450) = 3.194 mm
    machine(plan)["rating"]["thickness_mm"] = 3.2
    part(plan)["tolerance"].update(minus=0.5, plus=0.5)
    for one in plan["quality"]:
        one.update(accuracy_mm=0.5, minus_mm=0.5, plus_mm=0.5)
    plan["order"]["options"].update(max_stages=2, offcut_min=[2500.0, 645.0])
    assert verify(plan).faults == ()


def test_gauge_between_its_steps_counts_as_error_when_the_step_says_so() -> None:
    """Drops of 300 mm on a gauge that stands at 299.95 or 300.05 are ±(0.1 + 0.05) mm."""
    plan = worked_plan()
    machine(plan)["back_gauge"].update(low_mm=4.95, step_mm=0.1)
    remark = {"level": "caution", "code": "gauge-rounded", "message": "0.05 off", "basis": "machine profile"}
    for one in plan["program"]:
        one["findings"] = [remark]
    part(plan)["tolerance"].update(minus=0.15, plus=0.15)
    for said in plan["quality"]:
        said.update(accuracy_mm=0.15, minus_mm=0.15, plus_mm=0.15)
    assert verify(plan).faults == ()
    part(plan)["tolerance"].update(minus=0.14, plus=0.15)
    for said in plan["quality"]:
        said["minus_mm"] = 0.14
    assert verify(plan).codes() == ("tolerance",)


def test_sheets_may_be_cut_one_after_the_other() -> None:
    """Two sheets, named 1.1 and 1.2, each with its own pieces."""
    plan = worked_plan()
    twice = []
    for sheet in ("1", "2"):
        for one in worked_plan()["program"]:
            one["piece"] = f"1.{sheet}{one['piece'][1:]}"
            for way in (*one["drop_to"], *one["remainder_to"]):
                if way["kind"] == "piece":
                    way["ref"] = f"1.{sheet}{way['ref'][1:]}"
            twice.append({**one, "step": len(twice) + 1})
    plan["program"] = twice
    plan["layouts"][0]["repeat"] = 2
    plan["order"]["stock"][0]["quantity"] = 2
    part(plan)["quantity"] = 16
    summary = plan["summary"]
    for name in ("sheets", "parts", "strokes", "gauge_moves", "parts_kg", "scrap_kg", "cut_metres"):
        summary[name] *= 2
    summary["turns"] = 2
    for name in ("stock", "parts", "offcut", "scrap"):
        summary[f"{name}_area_mm2"] *= 2
    plan["bound"].update(pieces=2, area_mm2=6250000.0)
    assert verify(plan).faults == ()
    plan["program"][4]["piece"] = "1.1"
    assert "piece-count" in verify(plan).codes()
