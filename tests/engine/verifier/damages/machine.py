"""Damage that asks of the machine what it cannot do."""

from __future__ import annotations

from tests.engine.verifier.damage import Damages, Document, machine, step

damage = Damages()


@damage("not-held")
def remainder_below_the_clamping_depth(plan: Document) -> None:
    machine(plan)["hold_down"]["clamping_depth_mm"] = 95.01


@damage("gauge-range")
def gauge_beyond_its_range(plan: Document) -> None:
    machine(plan)["back_gauge"]["high_mm"] = 599.99


@damage("gauge-range")
def gauge_before_its_range(plan: Document) -> None:
    machine(plan)["back_gauge"]["low_mm"] = 5.01


@damage("gauge-step")
def gauge_between_its_steps(plan: Document) -> None:
    machine(plan)["back_gauge"].update(low_mm=5.0, step_mm=0.1)
    step(plan, 2)["gauge_mm"] = 300.04


@damage("cutting-length")
def two_side_by_side_longer_than_the_blade(plan: Document) -> None:
    machine(plan)["cutting_length_mm"] = 2500.0
    step(plan, 3)["gang"] = 2
    step(plan, 3)["along_blade_mm"] = 1250.01


@damage("cutting-length")
def sheet_longer_than_the_blade(plan: Document) -> None:
    machine(plan)["cutting_length_mm"] = 2499.99


@damage("gang")
def more_side_by_side_than_there_are(plan: Document) -> None:
    step(plan, 4)["gang"] = 3


@damage("not-gripped")
def second_of_the_gang_between_two_feet(plan: Document) -> None:
    machine(plan)["hold_down"].update(feet_mm=[100.0, 300.0, 500.01], foot_width_mm=200.0)


@damage("not-gripped")
def piece_narrower_than_a_foot(plan: Document) -> None:
    machine(plan)["hold_down"].update(feet_mm=[1250.0], foot_width_mm=300.01)
    for number in (3, 4):
        step(plan, number)["gang"] = 1
        step(plan, number)["strokes"] *= 2


@damage("drop-small")
def drop_narrower_than_the_smallest(plan: Document) -> None:
    machine(plan)["smallest_drop_mm"] = 5.01


@damage("strength")
def sheet_thicker_than_the_rating(plan: Document) -> None:
    """3 mm at 510 N/mm² counts as 3·√(510/450) = 3.19 mm."""
    machine(plan)["rating"]["thickness_mm"] = 3.19


@damage("strength")
def sheet_thicker_than_fits_under_the_blade(plan: Document) -> None:
    machine(plan)["max_thickness_mm"] = 2.99


@damage("strength")
def material_that_must_not_be_sheared(plan: Document) -> None:
    plan["order"]["materials"][0]["shearable"] = False


@damage("force")
def more_force_than_the_machine_has(plan: Document) -> None:
    machine(plan)["force_limit_kn"] = 89.0


@damage("stop")
def forbidden_by_its_own_finding(plan: Document) -> None:
    step(plan, 4)["findings"] = [
        {"level": "stop", "code": "force-over-limit", "message": "too much", "basis": "machine profile"}
    ]


@damage("gap-range")
def blade_gap_that_cannot_be_set(plan: Document) -> None:
    step(plan, 1)["settings"]["gap_mm"] = 1.01


@damage("rake-range")
def rake_that_cannot_be_set(plan: Document) -> None:
    step(plan, 1)["settings"]["rake_deg"] = 1.6


@damage("not-fitted")
def relief_on_a_machine_without(plan: Document) -> None:
    machine(plan)["relief"] = False


@damage("not-fitted")
def sheet_support_on_a_machine_without(plan: Document) -> None:
    machine(plan)["sheet_support"] = False
    step(plan, 2)["settings"]["sheet_support"] = True


@damage("not-fitted")
def squared_without_a_squaring_arm(plan: Document) -> None:
    machine(plan)["squaring_arm_mm"] = 0.0


@damage("not-fitted")
def front_stop_on_a_machine_without(plan: Document) -> None:
    step(plan, 2).update(gauging="front stop", measured="remainder", repeat=1, gauge_mm=945.0)


@damage("not-fitted")
def marked_line_on_a_machine_without(plan: Document) -> None:
    step(plan, 2)["gauging"] = "marked line"


@damage("measured-side")
def back_gauge_that_measures_the_remainder(plan: Document) -> None:
    step(plan, 2)["measured"] = "remainder"


@damage("squared")
def squared_on_a_mill_edge(plan: Document) -> None:
    step(plan, 1)["squared"] = True


@damage("lift")
def one_person_for_a_heavy_sheet(plan: Document) -> None:
    step(plan, 1)["lift"] = "one person"


@damage("lift")
def sheet_that_nobody_may_lift(plan: Document) -> None:
    machine(plan)["lifting"]["two_people_kg"] = 73.0
