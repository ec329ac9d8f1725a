"""Lengths come in by one door, exactly, and what is no length is refused in plain words."""

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.quantities import (
    GAUGE_TABLES,
    LONGEST,
    QuantityError,
    mm,
    parse_length,
    parse_thickness,
    show_mm,
    to_mm,
)


@pytest.mark.parametrize(
    ("written", "length"),
    [
        (600, 60_000),
        (118.5, 11_850),
        (Decimal("118.5"), 11_850),
        ("118.5", 11_850),
        ("118,5", 11_850),
        (" 118.5 mm ", 11_850),
        ("11.85cm", 11_850),
        ("1.25 m", 125_000),
        ('2 1/2"', 6_350),
        ("2-1/2 in", 6_350),
        ("1/16 inch", 159),
        ("3/8 inches", 952),
        ("0.25 IN.", 635),
        ("2.5″", 6_350),
        (".5", 50),
        ("+7", 700),
    ],
    ids=repr,
)
def test_every_usual_way_of_writing_a_length_is_read(written, length):
    assert parse_length(written) == length


def test_a_unit_in_the_text_wins_over_the_unit_of_bare_numbers():
    assert parse_length("2.5", "in") == 6_350
    assert parse_length(2, "in") == 5_080
    assert parse_length("2.5 mm", "in") == 250


def test_halves_go_to_the_even_hundredth_and_never_through_floats():
    assert parse_length("0.125") == 12
    assert parse_length("0.135") == 14
    assert parse_length(0.575) == 58  # as a float 0.575·100 is 57.49999999999999
    assert parse_length("1.005") == 100


@pytest.mark.parametrize(
    ("written", "says"),
    [
        (-1, "negative"),
        ("-3 mm", "negative"),
        (0, "zero"),
        ("0", "zero"),
        (0.001, "less than 0.01 mm"),
        (100_001, "more than 100 m"),
        ("101 m", "more than 100 m"),
        (math.nan, "finite"),
        (math.inf, "finite"),
        (Decimal("NaN"), "finite"),
        (None, "a length is wanted"),
        (True, "a length is wanted"),
        ([], "a length is wanted"),
        ("", "not a length"),
        ("   ", "not a length"),
        ("mm", "not a length"),
        ("12 34", "not a length"),
        ("1/0", "not a length"),
        ("1e3", "not a length"),
        ("0x10", "not a length"),
        ("12 furlongs", "not a length"),
        ("1.2.3", "not a length"),
        ("1 -2", "not a length"),
        ("1,250", "two ways"),
        ("1,250 mm", "two ways"),
        ("9" * 41, "too long"),
        ("9" * 39, "more than 100 m"),
    ],
    ids=repr,
)
def test_what_is_no_length_is_refused_with_what_is_wanted(written, says):
    with pytest.raises(QuantityError, match=says):
        parse_length(written)


def test_zero_is_allowed_for_trims_and_positions_only():
    assert parse_length(0, zero_ok=True) == 0
    with pytest.raises(QuantityError, match="less than"):
        parse_length("0.001", zero_ok=True)


@settings(max_examples=100, deadline=None)
@given(st.integers(1, LONGEST))
def test_a_length_reads_back_exactly_as_number_and_as_text(length):
    assert parse_length(to_mm(length)) == length
    assert parse_length(show_mm(length)) == length
    assert mm(to_mm(length)) == length


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 40), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_inch_fractions_are_exact(whole, numerator, denominator):
    exact = (whole + Fraction(numerator, denominator)) * Fraction(254, 10) * 100
    assert parse_length(f'{whole} {numerator}/{denominator}"') == round(exact)


@pytest.mark.parametrize(("written", "length"), [("16 ga steel", 152), ("16GA Stainless", 159), ("3.2", 320)])
def test_a_thickness_may_be_a_gauge_number_of_a_named_table(written, length):
    assert parse_thickness(written) == length


def test_a_gauge_number_takes_the_table_given_unless_it_names_one():
    assert parse_thickness("16 ga", gauge_table="aluminium") == 129
    assert parse_thickness("16 gauge steel", gauge_table="aluminium") == 152


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("16 ga", "which gauge table"),
        ("16 ga tin", "no gauge table 'tin'"),
        ("15 ga steel", "no gauge 15; it has 7, 8"),
        ("99999999999 ga steel", "no gauge"),
        ("-3", "negative"),
    ],
)
def test_a_gauge_number_that_says_too_little_is_refused(written, says):
    with pytest.raises(QuantityError, match=says):
        parse_thickness(written)


@pytest.mark.parametrize("table", sorted(GAUGE_TABLES))
def test_higher_gauge_numbers_are_thinner(table):
    numbers = sorted(GAUGE_TABLES[table])
    thicknesses = [parse_thickness(f"{number} ga {table}") for number in numbers]
    assert thicknesses == sorted(set(thicknesses), reverse=True)
