"""What is told of a load over a limit reads as over it, and advice that is followed helps."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.engine.force import check_force
from service.engine.handling import lift_finding
from service.engine.hold_down import hold_down_setting
from service.engine.lifting import Lifted, check_lift
from service.engine.machine import BackGauge, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials import certified
from service.engine.materials_table import material_named
from service.engine.settings import settings_for
from service.engine.told import told_over

S235 = material_named("S235JR")


def shear(**changes) -> Machine:
    about = {
        "rating": Rating(600),
        "rake": Rake(1.5, 1.5),
        "gap": GapRange(5, 80, 5),
        "back_gauge": BackGauge(500, 100_000),
        "hold_down": HoldDown(4500),
        **changes,
    }
    return Machine("m", "m", 300_000, **about)


@given(st.floats(0.01, 5000), st.floats(1.0001, 3), st.integers(0, 2))
def test_a_load_over_a_limit_reads_as_over_it_and_the_limit_not_above_itself(limit, times, decimals):
    told = told_over(limit * times, limit, decimals)
    assert float(told.load) > float(told.limit)
    assert float(told.limit) <= limit * (1 + 1e-6)


def figures(message):
    return [float(one) for one in re.findall(r"\d+(?:\.\d+)?(?= k[Ng])", message)]


def test_a_force_just_over_the_limit_is_not_told_as_the_limit():
    taken = check_force(shear(), S235, 300, 100_000).force_kn
    limit = round(taken - 0.01, 2)
    machine = shear(force_limit_kn=limit)
    check = check_force(machine, S235, 300, 100_000)
    (said,) = (one for one in check.findings if one.code == "force-over-limit")
    load, told = figures(said.message)
    assert load > told
    settings = settings_for(
        shear(force_limit_kn=limit, rake=Rake(1.0, 1.5)), S235, 300, cut_length=100_000, drop_depth=20_000
    )
    (rake,) = (one for one in settings.findings if one.code == "rake")
    load, told = figures(rake.message)
    assert load > told


def test_a_lift_just_over_its_limit_is_not_told_as_the_limit():
    limit = check_lift(1.0, Lifted(40, coupling="good")).limit_kg
    for times, bound in ((1.001, 1.0), (3.001, 3.0)):
        said = check_lift(limit * times, Lifted(40, coupling="good")).finding.message
        load, told = figures(said)
        assert load > told
        assert float(re.search(r"index (\S+)\)", said).group(1)) > bound


def test_two_people_and_nobody_are_told_by_figures_that_say_so():
    machine = shear(lifting=Lifting(one_person_kg=20, two_people_kg=40, crane_kg=None))
    # Two thirds of 40 kg are 26.67 kg, which must not read as 26.7.
    load, told = figures(lift_finding(machine, 26.68, (10_000, 10_000)).message)[:2]
    assert load > told
    assert told <= 26.67
    load, told = figures(lift_finding(machine, 40.01, (10_000, 10_000)).message)[:2]
    assert load > told == 40


def test_a_hold_down_just_short_is_told_as_short():
    machine = shear(hold_down=HoldDown(4500, force_kn=12.06, wanted_share=0.1))
    _, found = hold_down_setting(machine, 100_000, 120.8)
    (short,) = (one for one in found if one.code == "hold-down-short")
    wanted, had = figures(short.message)
    assert (wanted, had) == (12.1, 12.0)


@pytest.mark.parametrize("limit_kn", [None, 290.0])
def test_a_sheet_whose_certificate_says_what_is_advised_is_not_stopped(limit_kn):
    advised = 0
    machine = shear(force_limit_kn=limit_kn)
    for thickness in range(564, 671):
        said = check_force(machine, S235, thickness, 100_000).findings
        (over,) = (one.message for one in said if one.code == "thickness-over-rating")
        if (most := re.search(r"certificate says (\d+) N/mm² or less", over)) is None:
            continue
        advised += 1
        sheet = certified(S235, float(most.group(1)), "C1")
        after = check_force(machine, sheet, thickness, 100_000)
        assert not [one for one in after.findings if one.level == "stop"], thickness
        # And it says no less than it might: one more is stopped.
        more = check_force(machine, certified(S235, float(most.group(1)) + 1, "C1"), thickness, 100_000)
        assert [one for one in more.findings if one.level == "stop"], thickness
    assert advised > 50
