"""A cut held against the rating and the limits of a machine, and what is said of it."""

import math
from dataclasses import replace

import pytest

from service.engine import force
from service.engine.force import check_force, largest_thickness, longest_cut, permitted, raked_triangle
from service.engine.machine import Rating
from service.engine.materials_table import BUILT_IN, material_named
from tests.engine.shears import STEEL, codes, shear


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda m: m.grade)
@pytest.mark.parametrize("cut_length", [300, 5_000, 200_000])
def test_the_greatest_method_rules_and_none_passes_the_cap(material, cut_length):
    check = check_force(shear(), material, 400, cut_length)
    *inclined, cap = check.by_method
    assert cap.name == "parallel"
    assert check.force_kn == pytest.approx(max(method.force_kn for method in inclined))
    assert check.force_kn <= cap.force_kn * (1 + 1e-12)
    assert check.method in {method.name for method in inclined}
    assert all(method.source for method in check.by_method)


def test_plain_steel_of_the_rated_thickness_is_inside_the_rating_without_margin():
    # common practice, no source: plain steel counts as 450 N/mm²; a sheet 800 mm along the blade and
    # 6 mm thick is inside a 6 mm rating without margin to spare.
    check = check_force(shear(), STEEL, 600, 80_000)
    assert check.rating_share == pytest.approx(1)
    assert codes(check) == []
    assert codes(check, "caution") == ["rating-margin"]
    assert codes(check_force(shear(), STEEL, 601, 80_000)) == ["thickness-over-rating", "force-over-limit"]


def test_stainless_of_4_mm_needs_a_machine_of_5_to_6_mm_plain_steel():
    # common practice, no source
    stainless = material_named("1.4301")
    check = check_force(shear(), stainless, 400, 100_000)
    assert 5 < check.equivalent_thickness_mm < 6
    assert codes(check_force(shear(rating=Rating(500)), stainless, 400, 100_000))
    assert codes(check) == []


def test_strength_counts_with_the_upper_end_of_its_range_unless_a_certificate_says_less():
    check = check_force(shear(), material_named("S235JR"), 600, 80_000)
    assert codes(check)[0] == "thickness-over-rating"
    assert "6.39 mm" in check.findings[0].message
    assert "certificate says 450 N/mm² or less" in check.findings[0].message
    assert codes(check_force(shear(), replace(material_named("S235JR"), rm_high=450), 600, 80_000)) == []


def test_no_way_out_is_offered_when_even_the_lower_end_is_too_strong():
    check = check_force(shear(), material_named("S235JR"), 800, 80_000)
    assert "certificate" not in check.findings[0].message


def test_the_machines_own_force_limit_stops_a_cut_that_the_rating_allows():
    weak = shear(force_limit_kn=200)
    check = check_force(weak, STEEL, 600, 100_000)
    assert codes(check) == ["force-over-limit"]
    assert check.limit_basis == "machine profile"
    assert check.limit_kn == 200


def test_close_to_the_force_limit_is_a_caution():
    exact = check_force(shear(), STEEL, 600, 100_000).force_kn
    assert "force-margin" in codes(check_force(shear(force_limit_kn=exact), STEEL, 600, 100_000), "caution")
    roomy = check_force(shear(force_limit_kn=exact * 1.2), STEEL, 600, 100_000)
    assert "force-margin" not in codes(roomy, "caution")


def test_hardened_stock_is_stopped_at_any_thickness():
    hard = material_named("wear plate 500 HBW")
    assert codes(check_force(shear(), hard, 50, 1000)) == ["not-shearable"]
    assert longest_cut(shear(), hard, 50) == 0
    assert largest_thickness(shear(), hard, 1000) == 0


def test_soft_sheet_thicker_than_the_plate_is_a_caution_only():
    check = check_force(shear(), material_named("1050A H14"), 900, 100_000)
    assert codes(check) == []
    assert "thicker-than-plate" in codes(check, "caution")


def test_strength_counts_with_the_range_of_the_thickness():
    thin, thick = (check_force(shear(), material_named("S355JR"), t, 50_000) for t in (299, 300))
    assert (thin.strength, thick.strength) == (680, 630)
    assert "470 to 630 N/mm² at 3 mm" in thick.strength_basis
    assert thin.force_kn > thick.force_kn
    assert thin.rating_share == pytest.approx(2.99 * math.sqrt(680 / 450) / 6)


def test_an_open_ended_standard_is_named_in_a_note():
    assert codes(check_force(shear(), material_named("6082 T6"), 300, 100_000), "note") == [
        "strength-open-ended"
    ]


def test_hard_plate_that_may_be_sheared_carries_a_caution():
    hard = material_named("wear plate 400 HBW")
    assert "hard-plate" in codes(check_force(shear(), hard, 200, 100_000), "caution")


def test_the_allowance_for_dulled_edges_is_stated_and_the_shops():
    usual = check_force(shear(), STEEL, 300, 100_000)
    assert usual.dulled_allowance == 0.25
    assert usual.force_kn == pytest.approx(1.25 * usual.sharp_kn)
    # with a quarter the textbook's 0.5·0.8·Rm is the trade handbook's 0.5·Rm
    assert usual.force_kn == pytest.approx(raked_triangle(450, 3, 1000, 1.5) / 1000)
    sharp = check_force(shear(), STEEL, 300, 100_000, dulled_allowance=0.0)
    assert sharp.force_kn == pytest.approx(0.8 * usual.force_kn)
    shop = check_force(shear(dulled_allowance=0.4), STEEL, 300, 100_000)
    assert shop.force_kn == pytest.approx(1.4 * 0.8 * usual.force_kn)
    assert all(one.sharp_kn <= one.force_kn for one in usual.by_method)
    with pytest.raises(ValueError, match="dulled"):
        check_force(shear(), STEEL, 300, 100_000, dulled_allowance=-0.1)


def test_a_limit_that_follows_from_the_rating_is_dulled_like_the_cut():
    for allowance in (0.0, 0.25, 1.0):
        check = check_force(shear(dulled_allowance=allowance), STEEL, 600, 300_000)
        assert check.force_share == pytest.approx(1)
        assert codes(check) == []


def test_the_answer_says_which_method_rules_and_why_and_how_far_they_differ():
    stainless = check_force(shear(), material_named("1.4301"), 300, 100_000)
    assert stainless.method == "mill shear"
    assert stainless.why.startswith("mill shear asks for most of the methods that rule (raked triangle: ")
    inclined = [one.force_kn for one in stainless.by_method[:-1]]
    assert stainless.spread == pytest.approx(max(inclined) / min(inclined))
    assert f"{max(inclined):.1f} kN" in stainless.why
    assert f"{min(inclined):.1f} kN" in stainless.why
    assert "parallel blades" in check_force(shear(), STEEL, 300, 100_000, 0.0).why
    assert "shorter than the length engaged" in check_force(shear(), STEEL, 300, 8_000).why
    remark = {one.name: one.remark for one in stainless.by_method}
    assert "2 to 6°" in remark["mill shear"]
    assert "from memory" in remark["bending and holding"]
    assert [one.name for one in stainless.by_method if not one.rules] == ["bending and holding"]


def test_the_strength_that_counts_is_told_with_its_basis():
    check = check_force(shear(), material_named("S235JR"), 300, 100_000)
    assert check.strength == 510
    assert check.strength_basis.startswith("upper end of 360 to 510 N/mm², range; EN 10025-2")


def test_mean_power_is_the_work_over_the_time_of_the_stroke():
    machine = shear(strokes_per_minute=15.0)
    check = check_force(machine, STEEL, 600, 300_000)
    assert check.stroke_s == pytest.approx(4.0)  # the full stroke at the machine's one rake
    # F·L·tan φ = 0.5·450·6²·3000 N·mm
    assert check.work_j == pytest.approx(0.5 * 450 * 36 * 3000 / 1000)
    assert check.mean_power_kw == pytest.approx(check.work_j / 4000, abs=1e-6)
    assert check_force(machine, STEEL, 600, 30_000).stroke_s < 4.0


def test_the_mechanical_maximum_stops_what_is_thicker_and_answers_the_question_of_thick_soft_sheet():
    soft = material_named("1050A H14")
    roomy = shear(max_thickness=900)
    assert codes(check_force(roomy, soft, 900, 100_000)) == []
    assert "thicker-than-plate" not in codes(check_force(roomy, soft, 900, 100_000), "caution")
    assert codes(check_force(roomy, soft, 901, 100_000)) == ["thickness-over-maximum"]
    assert not permitted(roomy, soft, 901, 100_000)


def test_a_formula_from_memory_does_not_rule_but_is_not_silent():
    # a tough grade of our own: 0.6·0.7 of pure shear, bending and holding on top
    tough = replace(material_named("1.4301"), elongation=0.7, gap_share=(0.05, 0.12))
    check = check_force(shear(), tough, 400, 200_000, 1.5)
    recalled = next(one for one in check.by_method if one.name == "bending and holding")
    assert recalled.force_kn > check.force_kn
    limit = (recalled.force_kn + check.force_kn) / 2
    told = check_force(shear(force_limit_kn=limit), tough, 400, 200_000)
    assert codes(told) == []
    assert "recalled-formula-over-limit" in codes(told, "caution")
    roomy = check_force(shear(force_limit_kn=recalled.force_kn), tough, 400, 200_000)
    assert "recalled-formula-over-limit" not in codes(roomy, "caution")


def test_a_minimum_elongation_counts_with_the_upper_end_of_the_handbook():
    # ε = 1.2 to 1.6·A, the rolling-mill handbook: 1.6·0.45 = 0.72 of 1.4301, whose standard states a minimum.
    stainless = material_named("1.4301")
    check = check_force(shear(), stainless, 300, 100_000)
    printed = force.mill_shear(750, 3, 1.5, 1.6 * 0.45) / 1000
    assert check.method == "mill shear"
    assert check.force_kn == pytest.approx(printed)
    assert "1.6 times the elongation of 45%" in check.why
    # A sheet as ductile as the standard's least, taken as it is, never takes more.
    typical = replace(stainless, strength_basis="typical")
    known = check_force(shear(), typical, 300, 100_000)
    assert known.force_kn == pytest.approx(force.mill_shear(750, 3, 1.5, 1.4 * 0.45) / 1000)
    assert "1.6 times" not in known.why
    assert known.force_kn < check.force_kn


def test_sharp_edges_of_the_mill_shear_have_no_blade_condition():
    # K1 of the handbook is 1.3 to 1.5 and of the edges; without it K2·K3 are left, 0.75·1.3.
    check = check_force(shear(), material_named("1.4301"), 300, 100_000)
    assert check.method == "mill shear"
    assert check.force_kn == pytest.approx(1.3 * check.sharp_kn)
    for allowance, times in ((0.0, 1.3), (0.3, 1.3), (0.5, 1.5)):
        mill = check_force(shear(), material_named("1.4301"), 300, 100_000, None, allowance).by_method[2]
        assert mill.force_kn == pytest.approx(times * mill.sharp_kn)
        assert ("1.3 times sharp ones at least" in mill.remark) is (allowance < 0.3)


def test_a_machine_known_by_its_rating_alone_is_told_why_only_the_triangle_counts():
    stainless = material_named("1.4301")
    check = check_force(shear(), stainless, 464, 300_000)
    assert check.force_kn > check.limit_kn
    assert check.force_share < 1
    assert codes(check) == []
    (said,) = (one for one in check.findings if one.code == "counted-by-triangle")
    assert f"{check.force_share * check.limit_kn:.0f} kN of the triangle" in said.message
    assert "counted-by-triangle" not in codes(check_force(shear(), stainless, 300, 300_000), "note")
    stated = check_force(shear(force_limit_kn=check.limit_kn), stainless, 464, 300_000)
    assert codes(stated) == ["force-over-limit"]
