"""Gauge, profile and grades over the wire; what contradicts itself is not kept."""

from __future__ import annotations

from typing import Any

import pytest

from tests.service.shop import Service, machine, order, sheet

GRADE = {
    "grade": "Q-plate",
    "family": "carbon steel",
    "rm_low_n_mm2": 400,
    "rm_high_n_mm2": 520,
    "elongation": 0.2,
    "density_kg_m3": 7850,
    "youngs_modulus_n_mm2": 210_000,
    "gap_share": [0.05, 0.08],
}


def told(answer: Any) -> dict[str, str]:
    assert answer.status_code == 422, answer.text
    return {error["pointer"]: error["message"] for error in answer.json["errors"]}


def test_measured_parts_correct_the_gauge_in_its_own_steps(shared: Service) -> None:
    answer = shared.post(
        "/checks/gauge",
        {
            "machine": machine(back_gauge={"low_mm": 5, "high_mm": 1000, "step_mm": 0.1}),
            "parts": [{"gauge": 300, "measured": size} for size in (300.11, 300.13, 300.12, 300.14, 300.1)],
            "minus": 0.2,
            "plus": 0.2,
        },
    )
    assert answer.status_code == 200, answer.text
    said = answer.json
    assert said["advice"] == "correct"
    assert said["correction_mm"] == -0.1
    assert said["mean_mm"] == pytest.approx(0.12)
    assert said["low_mm"] < 0.12 < said["high_mm"]
    assert said["cpk"] < said["cpk_after"] <= said["cp"]
    assert "proven" in said["why"]


def test_inches_are_read_as_inches(shared: Service) -> None:
    body = {
        "machine": machine(),
        "units": "in",
        "parts": [{"gauge": "2 1/2", "measured": 2.5}, {"gauge": 2.5, "measured": "63.6 mm"}],
    }
    assert shared.post("/checks/gauge", body).json["mean_mm"] == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("change", "where", "words"),
    [
        ({"parts": []}, "/parts", "at least 1 entry"),
        ({"minus": 0.1}, "/plus", "go together"),
        ({"minus": 0, "plus": 0}, "/plus", "no tolerance"),
        ({"confidence": 1}, "/confidence", "0.5 to 0.9999"),
        ({"machine": "nowhere"}, "/machine", "no machine is known"),
    ],
)
def test_a_question_about_the_gauge_that_is_none_is_refused(
    shared: Service, change: dict[str, Any], where: str, words: str
) -> None:
    body = {"machine": machine(), "parts": [{"gauge": 300, "measured": 300.1}], **change}
    assert words in told(shared.post("/checks/gauge", body))[where]


def test_a_profile_and_grades_are_looked_over_before_they_are_kept(shared: Service) -> None:
    body = {
        "machine": machine(squaring_arm_mm=1000, back_gauge={"low_mm": 5, "high_mm": 4000}),
        "materials": [{**GRADE, "rm_low_n_mm2": 58, "rm_high_n_mm2": 80}],
        "grades": ["S235JR"],
    }
    answer = shared.post("/checks/profile", body)
    assert answer.status_code == 200, answer.text
    said = answer.json
    assert said["ok"] is False
    assert [one["pointer"] for one in said["machine"]["refusals"]] == ["/machine/front_stops/high_mm"]
    assert "gauge-beyond-length" in [one["code"] for one in said["machine"]["findings"]]
    own, built_in = said["materials"]
    assert [one["pointer"] for one in own["refusals"]] == [
        "/materials/0/rm_low_n_mm2",
        "/materials/0/rm_high_n_mm2",
    ]
    assert built_in["refusals"] == []
    assert built_in["properties"][0]["basis"] == "range"
    assert "EN 10025-2" in built_in["properties"][0]["source"]


def test_a_good_profile_is_ok_and_nothing_asked_is_refused(shared: Service) -> None:
    assert shared.post("/checks/profile", {"machine": machine()}).json["ok"] is True
    assert "are wanted" in told(shared.post("/checks/profile", {}))["/machine"]
    assert "/grades/0" in told(shared.post("/checks/profile", {"grades": ["S2355"]}))


def test_a_profile_that_contradicts_itself_is_not_kept(small: Service) -> None:
    bad = machine("bent", squaring_arm_mm=1000, gap_table=[{"rm_n_mm2": 400, "thickness_mm": 3, "gap_mm": 2}])
    answer = small.ask("POST", "/machines", "admin", json=bad)
    assert set(told(answer)) == {"/front_stops/high_mm", "/gap_table/0/gap_mm"}
    assert small.get("/machines/bent").status_code == 404


def test_a_profile_with_its_own_gap_table_and_limits_is_kept_as_it_was_sent(small: Service) -> None:
    table = [{"rm_n_mm2": 400.0, "thickness_mm": 3.0, "gap_mm": 0.2}]
    mine = machine(
        "own",
        gap_table=table,
        max_thickness_mm=12,
        dulled_allowance=0.3,
        hold_down={"clamping_depth_mm": 45, "force_kn": 80, "wanted_share": 0.1},
    )
    answer = small.ask("POST", "/machines", "admin", json=mine)
    assert answer.status_code == 201, answer.text
    kept = small.get("/machines/own").json
    assert kept["gap_table"] == table
    assert (kept["max_thickness_mm"], kept["dulled_allowance"]) == (12.0, 0.3)
    assert kept["hold_down"]["wanted_share"] == 0.1


@pytest.mark.parametrize(
    ("change", "where", "words"),
    [
        ({"rm_high_n_mm2": 65_000}, "/rm_high_n_mm2", "if it is in psi, write 448"),
        ({"density_kg_m3": 7.85}, "/density_kg_m3", "if it is in g/cm³, write 7850"),
        ({"youngs_modulus_n_mm2": 210}, "/youngs_modulus_n_mm2", "if it is in GPa, write 210000"),
        ({"elongation": 26}, "/elongation", "if it is in percent, write 0.26"),
        ({"gap_share": [5, 8]}, "/gap_share/0", "if it is in percent, write 0.05"),
        ({"rm_low_n_mm2": 58, "rm_high_n_mm2": 80}, "/rm_low_n_mm2", "400 if it is in ksi"),
    ],
)
def test_a_grade_with_a_slip_of_unit_is_refused_in_words(
    small: Service, change: dict[str, Any], where: str, words: str
) -> None:
    answer = small.ask("POST", "/materials", "admin", json={**GRADE, **change})
    assert words in told(answer)[where]
    assert small.get("/materials/Q-plate").status_code == 404


def test_the_force_answer_names_the_ruling_method_and_the_spread(shared: Service) -> None:
    body = {"machine": machine(), "material": "1.4301", "thickness": 3, "cut_length": 1000}
    said = shared.post("/checks/force", body).json
    assert said["method"] == "mill shear"
    assert "asks for most" in said["why"]
    mild = shared.post("/checks/force", {**body, "material": "S235JR"}).json
    assert mild["method"] == "raked triangle"
    assert mild["spread"] > 1.5
    assert said["strength_n_mm2"] == 750
    assert said["mean_power_kw"] == pytest.approx(said["work_j"] / said["stroke_s"] / 1000, abs=1e-6)
    sharp = shared.post("/checks/force", {**body, "dulled_allowance": 0}).json
    assert sharp["force_kn"] < said["force_kn"] or sharp["method"] == "mill shear"
    keen = {one["name"]: one["sharp_kn"] for one in said["by_method"]}
    none_allowed = {one["name"]: one["force_kn"] for one in sharp["by_method"]}
    # The mill shear's own blade condition, 1.3 at least, stays where the shop allows for none.
    assert none_allowed.pop("mill shear") == pytest.approx(1.3 * keen.pop("mill shear"))
    assert keen == none_allowed


IN_KSI = {**GRADE, "rm_low_n_mm2": 68, "rm_high_n_mm2": 91}
"""S355 in thousands of pounds a square inch."""

IN_NEWTONS = machine(force_limit_kn=320_000)
IN_TONS = machine(force_limit_kn=32)
PERCENT_TABLE = machine(gap_table=[{"rm_n_mm2": 400, "thickness_mm": 3, "gap_mm": 8}])


@pytest.mark.parametrize(
    ("change", "where", "words"),
    [
        ({"materials": [IN_KSI]}, "/materials/0/rm_high_n_mm2", "627 if it is in ksi"),
        ({"machine": IN_NEWTONS}, "/machine/force_limit_kn", "write 320 if it is in N"),
        ({"machine": PERCENT_TABLE}, "/machine/gap_table/0/gap_mm", "more than half of 3 mm"),
    ],
)
def test_an_order_and_a_question_are_held_to_what_may_be_kept(
    shared: Service, change: dict[str, Any], where: str, words: str
) -> None:
    cut = {"machine": machine(), "material": "S235JR", "thickness": 3, "cut_length": 1000, **change}
    for path, more in (
        ("/checks/force", {}),
        ("/settings", {"drop_depth": 300}),
        ("/programs/check", {"steps": [{"gauge_mm": 300}]}),
    ):
        assert words in told(shared.post(path, {**cut, **more}))[where]
    asked = {
        "order_ref": "W-1",
        "machine": machine(),
        "parts": [
            {"ref": "A", "length": 300, "width": 200, "quantity": 1, "material": "S235JR", "thickness": 3}
        ],
        "stock": [],
        **change,
    }
    assert words in told(shared.post("/plans", asked))[where]


@pytest.mark.parametrize(
    ("profile", "words"), [(IN_NEWTONS, "write 320 if it is in N"), (IN_TONS, "if it is in tonnes-force")]
)
def test_a_force_in_another_unit_is_not_kept(small: Service, profile: dict[str, Any], words: str) -> None:
    answer = small.ask("POST", "/machines", "admin", json={**profile, "id": "odd"})
    assert words in told(answer)["/force_limit_kn"]


def test_what_is_unusual_in_a_profile_is_said_when_it_is_kept(small: Service) -> None:
    weak = machine("weak", rating={"thickness_mm": 8}, force_limit_kn=200)
    made = small.ask("POST", "/machines", "admin", json=weak)
    assert made.status_code == 201, made.text
    assert "force-against-rating" in {one["code"] for one in made.json["findings"]}
    small.ask("DELETE", "/machines/weak", "admin", headers={"If-Match": '"1"'})


def test_a_certificate_in_thousand_pounds_is_refused_and_one_beside_the_grade_is_doubted(
    shared: Service,
) -> None:
    cut = {
        "machine": machine(),
        "material": "S235JR",
        "thickness": 3,
        "cut_length": 1000,
        "certificate": "3.1/77",
    }
    answer = shared.post("/checks/force", {**cut, "tensile_strength_n_mm2": 62})
    assert "if it is in ksi, write 427" in told(answer)["/tensile_strength_n_mm2"]
    said = shared.post("/checks/force", {**cut, "tensile_strength_n_mm2": 340}).json
    assert "certificate-outside-grade" in {one["code"] for one in said["findings"]}


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"thickness": 16}, "thickness-over-rating"),
        ({"cut_length": 3500}, "too-long-for-blade"),
        ({"drop_depth": 1500}, "gauge-out-of-range"),
        ({"material": "wear plate 500 HBW"}, "not-shearable"),
    ],
)
def test_there_are_no_settings_for_a_cut_that_is_stopped(
    shared: Service, change: dict[str, Any], code: str
) -> None:
    cut = {"machine": machine(), "material": "S235JR", "thickness": 3, "cut_length": 1000, "drop_depth": 300}
    assert shared.post("/settings", cut).status_code == 200
    refused = shared.post("/settings", {**cut, **change})
    assert (refused.status_code, refused.json["type"]) == (422, "/problems/not-to-be-cut")
    assert code in {one["code"] for one in refused.json["findings"] if one["level"] == "stop"}
    assert "rake_deg" not in refused.json


def test_settings_for_hard_plate_say_whose_leave_is_wanted(shared: Service) -> None:
    hard = {
        "machine": machine(gap={"low_mm": 0.05, "high_mm": 2}),
        "material": "wear plate 400 HBW",
        "thickness": 2,
        "cut_length": 1000,
        "drop_depth": 300,
    }
    said = shared.post("/settings", hard).json
    assert "hard-plate" in {one["code"] for one in said["findings"]}


def test_force_is_checked_on_the_whole_cut_without_a_drop(shared: Service) -> None:
    cut = {"machine": machine(), "material": "S235JR", "thickness": 3, "cut_length": 3500}
    found = {one["code"]: one["level"] for one in shared.post("/checks/force", cut).json["findings"]}
    assert found["too-long-for-blade"] == "stop"
    assert found["drop-unknown"] == "note"


@pytest.mark.parametrize(
    ("change", "where", "words"),
    [
        ({"certificate": None}, "/certificate", "go together"),
        ({"tensile_strength_n_mm2": 65}, "/tensile_strength_n_mm2", "if it is in ksi, write 448"),
        ({"tensile_strength_n_mm2": 340}, "/tensile_strength_n_mm2", "keep it as a grade of its own"),
    ],
)
def test_a_certificate_on_stock_is_held_against_the_grade(
    shared: Service, change: dict[str, Any], where: str, words: str
) -> None:
    plate = {**sheet("SH-C", tensile_strength_n_mm2=430, certificate="3.1/77"), **change}
    assert words in told(shared.post("/stock", plate))[where]
    inline = {name: value for name, value in plate.items() if name != "site"}
    answer = shared.post("/plans", order(stock=[inline]))
    assert words in told(answer)[f"/stock/0{where}"]


def test_a_plan_from_the_rack_counts_with_the_certificates_of_its_stock(small: Service) -> None:
    # 5.5 mm of 510 N/mm² counts as 5.86 mm of 450, of 430 as 5.38 mm.
    weak = machine(rating={"thickness_mm": 5.5})
    parts = [
        {"ref": "P1", "length": 600, "width": 300, "quantity": 2, "material": "S235JR", "thickness": 5.5}
    ]
    plate = sheet("SH-5", thickness=5.5)
    assert small.ask("POST", "/stock", "admin", json=plate).status_code == 201
    asked = order(machine=weak, parts=parts)
    refused = small.post("/plans", asked).json
    assert refused["unplaced"][0]["quantity"] == 2
    certified = {**plate, "tensile_strength_n_mm2": 430, "certificate": "3.1/77"}
    kept = small.ask("PUT", "/stock/northgate/SH-5", "admin", json=certified, headers={"If-Match": '"1"'})
    assert kept.status_code == 200, kept.text
    assert kept.json["certificate"] == "3.1/77"
    made = small.post("/plans", asked).json
    assert made["unplaced"] == []
    assert made["fingerprint"] != refused["fingerprint"]
    assert (
        small.ask("DELETE", "/stock/northgate/SH-5", "admin", headers={"If-Match": '"2"'}).status_code == 204
    )


@pytest.mark.parametrize("path", ["/checks/force", "/settings"])
def test_the_usual_cautions_are_those_of_what_was_found(shared: Service, path: str) -> None:
    cut = {"machine": machine(), "material": "S235JR", "thickness": 3, "cut_length": 1000}
    narrow, wide = (shared.post(path, {**cut, "drop_depth": depth}).json for depth in (20, 300))
    assert "narrow-drop" in {one["code"] for one in narrow["findings"]}
    assert any("Narrow pieces spring" in one for one in narrow["cautions"])
    assert not any("Narrow pieces spring" in one for one in wide["cautions"])


def test_a_program_brings_the_usual_cautions_of_its_steps(shared: Service) -> None:
    program = {"machine": machine(), "material": "S235JR", "thickness": 1, "cut_length": 1000, "depth": 1000}
    feet = machine(hold_down={"clamping_depth_mm": 45, "feet_mm": [100, 1200], "foot_width_mm": 60})
    steps = [{"gauge_mm": 300}]
    loose = shared.post("/programs/check", {**program, "machine": feet, "steps": steps}).json
    assert any("one foot or none" in one for one in loose["cautions"]), loose
    whole = shared.post("/programs/check", {**program, "steps": steps}).json
    assert not any("one foot or none" in one for one in whole["cautions"])


def test_a_cut_with_a_drop_is_checked_at_the_rake_and_the_edges_that_were_asked_for(shared: Service) -> None:
    cut = {
        "machine": machine(rake={"low_deg": 1, "high_deg": 2}, force_limit_kn=180),
        "material": "S235JR",
        "thickness": 5.4,
        "cut_length": 1000,
        "rake_deg": 2,
        "dulled_allowance": 0,
    }
    alone = shared.post("/checks/force", cut).json
    with_drop = shared.post("/checks/force", {**cut, "drop_depth": 300, "remainder_depth": 300}).json
    assert alone["force_kn"] == with_drop["force_kn"] < 180
    assert "force-over-limit" not in {one["code"] for one in with_drop["findings"]}
