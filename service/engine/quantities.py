"""Lengths as whole hundredths of a millimetre, and the doors by which other units come in.

Inside the engine every length is an ``int`` in 0.01 mm (the alias :data:`Length`). Text and
numbers in millimetres, inches or sheet gauge numbers are turned into that here and nowhere else,
exactly (with fractions, never floats) and then rounded to the nearest hundredth, halves to even.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Final, Literal, TypeAlias

Length: TypeAlias = int
"""A length in whole hundredths of a millimetre [0.01 mm]."""

Units: TypeAlias = Literal["mm", "in"]

PER_MM: Final = 100
LONGEST: Final[Length] = 100_000 * PER_MM
"""Anything beyond 100 m is taken for a slip of the pen."""

_MM_PER_INCH: Final = Fraction(254, 10)

GAUGE_TABLES: Final[dict[str, dict[int, str]]] = {
    # Inches as printed in the usual US charts. The steel column is Manufacturers' Standard Gauge
    # (41.82 lb/ft² per inch), the aluminium column Brown & Sharpe (0.005·92^((36−n)/39) in).
    "steel": {
        7: "0.1793", 8: "0.1644", 9: "0.1495", 10: "0.1345", 11: "0.1196", 12: "0.1046",
        13: "0.0897", 14: "0.0747", 16: "0.0598", 18: "0.0478", 20: "0.0359", 22: "0.0299",
        24: "0.0239", 26: "0.0179", 28: "0.0149", 30: "0.0120",
    },
    "galvanised": {
        8: "0.1681", 9: "0.1532", 10: "0.1382", 11: "0.1233", 12: "0.1084", 13: "0.0934",
        14: "0.0785", 16: "0.0635", 18: "0.0516", 20: "0.0396", 22: "0.0336", 24: "0.0276",
        26: "0.0217", 28: "0.0187", 30: "0.0157",
    },
    "stainless": {
        7: "0.1875", 8: "0.1719", 9: "0.1562", 10: "0.1406", 11: "0.1250", 12: "0.1094",
        13: "0.0937", 14: "0.0781", 16: "0.0625", 18: "0.0500", 20: "0.0375", 22: "0.0312",
        24: "0.0250", 26: "0.0187", 28: "0.0156", 30: "0.0125",
    },
    "aluminium": {
        7: "0.1443", 8: "0.1285", 9: "0.1144", 10: "0.1019", 11: "0.0907", 12: "0.0808",
        13: "0.0720", 14: "0.0641", 16: "0.0508", 18: "0.0403", 20: "0.0320", 22: "0.0253",
        24: "0.0201", 26: "0.0159", 28: "0.0126", 30: "0.0100",
    },
}  # fmt: skip


class QuantityError(ValueError):
    """What was written is not a length; the message says what is wanted."""


_FRACTION = r"(?P<num>\d+)\s*/\s*(?P<den>\d+)"
_NUMBER = re.compile(r"^[+-]?\d+(?:[.,]\d+)?$|^[+-]?[.,]\d+$")
_MIXED = re.compile(rf"^(?:(?P<whole>\d+)(?:\s+|\s*-\s*))?{_FRACTION}$")
_UNIT = re.compile(r"^(?P<value>.*?)\s*(?P<unit>mm|cm|m|inches|inch|in\.?|\"|″|”|'')$", re.IGNORECASE)
_GAUGE = re.compile(r"^(?P<number>\d+)\s*(?:ga|gauge|ga\.)\s*(?P<table>[a-z]+)?$", re.IGNORECASE)
_UNIT_MM: Final[dict[str, Fraction]] = {"mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000)}


def mm(value: float | str) -> Length:
    """Millimetres written in the source code as a length.

    >>> mm(118.5)
    11850
    """
    return round(Fraction(str(value)) * PER_MM)


def to_mm(length: Length) -> float:
    """A length as millimetres for the wire; two decimals at most, so it reads back exactly.

    >>> to_mm(11850)
    118.5
    """
    return length / PER_MM


def show_mm(length: Length) -> str:
    """A length as people write it.

    >>> show_mm(60000), show_mm(11850), show_mm(5070)
    ('600', '118.5', '50.7')
    """
    return (
        f"{Decimal(length) / PER_MM:f}".rstrip("0").rstrip(".") if length % PER_MM else str(length // PER_MM)
    )


def parse_length(value: object, units: Units = "mm", *, zero_ok: bool = False) -> Length:
    """Turn a number or text into a length.

    Parameters
    ----------
    value
        An ``int``, ``float`` or ``Decimal`` in `units`; or text such as ``"118.5"``, ``"118,5 mm"``,
        ``'2 1/2"'``, ``"2-1/2 in"``. A unit written in the text wins over `units`.
    units
        The unit of a bare number.
    zero_ok
        Whether 0 is allowed (trims, positions) or refused (sizes).

    Returns
    -------
    int
        Hundredths of a millimetre.

    Raises
    ------
    QuantityError
        With a message that says what is wanted.

    >>> parse_length('2 1/2"'), parse_length("118,5"), parse_length(2.5, "in")
    (6350, 11850, 6350)
    """
    exact = _fraction_mm(value, units)
    hundredths = round(exact * PER_MM)
    if exact < 0:
        raise QuantityError(f"{_shown(value)} is negative; a length is wanted")
    if hundredths == 0 and not (zero_ok and exact == 0):
        raise QuantityError(
            f"{_shown(value)} is zero; a length greater than zero is wanted"
            if exact == 0
            else f"{_shown(value)} is less than 0.01 mm, the smallest length kept"
        )
    if hundredths > LONGEST:
        raise QuantityError(f"{_shown(value)} is more than 100 m; check the number and its unit")
    return hundredths


def parse_thickness(value: object, units: Units = "mm", gauge_table: str | None = None) -> Length:
    """Turn a thickness into a length; besides lengths it takes sheet gauge numbers of a named table.

    >>> parse_thickness("16 ga steel"), parse_thickness("16 ga", gauge_table="stainless")
    (152, 159)
    """
    if isinstance(value, str) and (found := _GAUGE.match(value.strip())):
        table = (found["table"] or gauge_table or "").lower()
        known = ", ".join(GAUGE_TABLES)
        if not table:
            raise QuantityError(
                f"{_shown(value)} does not say which gauge table: write for example "
                f'"{found["number"]} ga steel"; tables: {known}'
            )
        if table not in GAUGE_TABLES:
            raise QuantityError(f"there is no gauge table {table!r}; tables: {known}")
        inches = GAUGE_TABLES[table].get(int(found["number"]))
        if inches is None:
            numbers = ", ".join(map(str, GAUGE_TABLES[table]))
            raise QuantityError(f"the {table} table has no gauge {found['number']}; it has {numbers}")
        return round(Fraction(inches) * _MM_PER_INCH * PER_MM)
    return parse_length(value, units)


def _fraction_mm(value: object, units: Units) -> Fraction:
    factor = _MM_PER_INCH if units == "in" else Fraction(1)
    if isinstance(value, bool) or value is None:
        raise QuantityError('a length is wanted, as a number or as text such as 118.5 or 2 1/2"')
    if isinstance(value, int):
        return value * factor
    if isinstance(value, float | Decimal):
        if not math.isfinite(value):
            raise QuantityError(f"{value} is not a length; a finite number is wanted")
        return Fraction(str(value)) * factor
    if not isinstance(value, str):
        raise QuantityError('a length is wanted, as a number or as text such as 118.5 or 2 1/2"')
    if len(value) > 40:
        raise QuantityError("that text is too long for a length")
    text = value.strip()
    if found := _UNIT.match(text):
        unit = found["unit"].lower().rstrip(".")
        factor = _UNIT_MM.get(unit, _MM_PER_INCH)
        text = found["value"].strip()
    if re.match(r"^[+-]?[1-9]\d{0,2},\d{3}$", text):
        raise QuantityError(
            f"{_shown(value)} can be read two ways; write {text.replace(',', '')} or {text.replace(',', '.')}"
        )
    try:
        if _NUMBER.match(text):
            return Fraction(text.replace(",", ".")) * factor
        if mixed := _MIXED.match(text):
            return (Fraction(int(mixed["num"]), int(mixed["den"])) + int(mixed["whole"] or 0)) * factor
    except (ZeroDivisionError, InvalidOperation):
        pass
    raise QuantityError(f'{_shown(value)} is not a length; write for example 118.5, 118,5 mm or 2 1/2"')


def _shown(value: object) -> str:
    text = str(value).strip()
    return repr(text) if isinstance(value, str) else text
