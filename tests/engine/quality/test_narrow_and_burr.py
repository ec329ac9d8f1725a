"""Flatness of narrow drops and the burr to expect: rules of thumb that say that they are."""

import pytest

from service.engine.materials_table import material_named
from service.engine.quality.burr import BURR_BASIS, burr_on, burr_range, expected_burr_mm
from service.engine.quality.narrow import NARROW_BASIS, narrow_finding, twist_risk

STEEL = material_named("S235JR")


def test_a_published_strip_that_twisted_is_a_high_risk():
    # Reported in a sheet-metal forum: 0.074 in cold-rolled steel in strips of 0.5 in twisted about 45°.
    assert twist_risk(188, 1270, 1.5) == "high"


@pytest.mark.parametrize(
    ("width", "risk"),
    # Rule of thumb, no source: eight to ten thicknesses at least, trouble grows below twenty.
    [(2999, "high"), (3000, "some"), (5999, "some"), (6000, "low")],
)
def test_the_rule_of_thumb_counts_thicknesses(width, risk):
    assert twist_risk(300, width, 1.5) == risk


def test_a_larger_rake_twists_more_and_a_smaller_one_does_not_excuse():
    assert twist_risk(300, 4000, 1.5) == "some"
    assert twist_risk(300, 4000, 2.5) == "high"
    assert twist_risk(300, 2999, 0.5) == "high"


def test_what_is_said_of_a_narrow_part_names_its_ground():
    assert narrow_finding(300, 9000, 1.5) is None
    assert narrow_finding(300, 4500, 1.5).level == "note"
    told = narrow_finding(300, 2000, 1.5)
    assert (told.level, told.code) == ("caution", "narrow-part-twist")
    assert "6.7 thicknesses" in told.message
    assert told.basis == NARROW_BASIS
    assert "no published limit" in NARROW_BASIS


@pytest.mark.parametrize("wrong", [(0, 100, 1), (100, 0, 1), (100, 100, -1)])
def test_a_drop_that_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match=r"wanted|not an angle"):
        twist_risk(*wrong)


def test_a_fresh_edge_leaves_the_burr_that_is_published_for_thin_sheet():
    # A stamper's design tips: 0.70 mm cold-rolled steel, gap of 5 and 9 %: 0.01 mm.
    for gap in (3.5, 6.3):
        assert expected_burr_mm(STEEL, 70, round(gap), 0.0) == pytest.approx(0.01, abs=0.003)


def test_a_worn_edge_leaves_a_tenth_of_the_thickness():
    # Engineering handbooks: below 10 % of the thickness is attainable.
    assert expected_burr_mm(STEEL, 300, 20, 1.0) == pytest.approx(0.3)
    assert burr_on(STEEL, 300, 20, 1.0).finding.level == "note"
    assert burr_on(STEEL, 300, 20, 1.01).finding.code == "burr-likely"


def test_a_gap_wider_than_usual_raises_the_burr_in_proportion():
    usual = round(STEEL.gap_share[1] * 400)
    once, twice = (expected_burr_mm(STEEL, 400, gap, 0.3) for gap in (usual, 2 * usual))
    assert twice == pytest.approx(2 * once)
    assert expected_burr_mm(STEEL, 400, 0, 0.3) == pytest.approx(once)


def test_a_gap_as_the_machines_own_table_has_it_adds_no_burr():
    """3 mm at 0.30, wider than the 0.24 of the material's share: the table is what the maker asks for."""
    by_table = burr_on(STEEL, 300, 30, 1.0, usual=30.0)
    assert by_table.expected_mm == pytest.approx(0.3)
    assert by_table.finding.level == "note"
    assert expected_burr_mm(STEEL, 300, 45, 1.0, usual=30.0) == pytest.approx(0.45)
    assert "0.04 mm (fresh edge) to 0.30 mm (worn edge)" in burr_range(STEEL, 300, 30, 30.0).message
    assert burr_on(STEEL, 300, 30, 1.0).finding.level == "caution"


def test_burr_is_called_typical_and_a_shop_default():
    assert "typical" in BURR_BASIS
    assert "shop default" in BURR_BASIS


@pytest.mark.parametrize("wrong", [(0, 10, 0.5), (100, -1, 0.5), (100, 10, -0.1), (100, 10, float("nan"))])
def test_a_burr_that_cannot_be_reckoned_is_refused(wrong):
    with pytest.raises(ValueError, match=r"wanted|share used"):
        expected_burr_mm(STEEL, *wrong)
