"""A value of a JSON document and the place where it stands: read strictly, or a slip that says where.

Millimetres are turned into whole hundredths by the decimal digits of the JSON number, so that
118.5 is 11850 exactly; a number with more than two decimals is refused.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

LARGEST = 10**9
"""Numbers beyond this are slips, in whatever unit."""


class SlipError(Exception):
    """Something in the document is not what the contract says."""

    def __init__(self, where: str, message: str) -> None:
        super().__init__(message)
        self.where = where
        self.message = message


class At:
    """A JSON value and the place where it stands."""

    __slots__ = ("value", "where")

    def __init__(self, value: Any, where: str) -> None:
        self.value = value
        self.where = where

    def slip(self, wanted: str) -> SlipError:
        """The error that `wanted` should stand here."""
        return SlipError(self.where, f"{wanted} is wanted")

    def has(self, name: str) -> bool:
        """Whether the object has a member of that name, and not null."""
        return self.of(name, optional=True).value is not None

    def of(self, name: str, *, optional: bool = False) -> At:
        """A member of the object; null where an optional one is missing."""
        if not isinstance(self.value, Mapping):
            raise self.slip("an object")
        if name not in self.value and not optional:
            raise SlipError(f"{self.where}/{name}", "is missing")
        return At(self.value.get(name), f"{self.where}/{name}")

    def each(self) -> Iterator[At]:
        """The entries of the list."""
        if not isinstance(self.value, list | tuple):
            raise self.slip("a list")
        for index, value in enumerate(self.value):
            yield At(value, f"{self.where}/{index}")

    def number(self) -> Decimal:
        """A finite number, by its decimal digits."""
        value = self.value
        if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
            raise self.slip("a number")
        if not (isinstance(value, int) or math.isfinite(value)):
            raise self.slip("a finite number")
        return Decimal(value) if isinstance(value, int) else Decimal(str(value))

    def amount(self) -> Decimal:
        """A number that is not negative."""
        number = self.number()
        if number < 0:
            raise self.slip("a number that is not negative")
        return number

    def maybe_amount(self) -> Decimal | None:
        """An amount, or None for null."""
        return None if self.value is None else self.amount()

    def whole(self, least: int = 0) -> int:
        """A whole number, `least` and up."""
        number = self.number()
        if number != number.to_integral_value() or not least <= number <= LARGEST:
            raise self.slip(f"a whole number from {least}")
        return int(number)

    def mm(self, least: int = 1) -> int:
        """A length given in millimetres [0.01 mm], `least` and up."""
        number = self.number()
        if not -LARGEST <= number <= LARGEST:
            raise self.slip("a length below 1000 km")
        hundredths = number * 100
        if hundredths != hundredths.to_integral_value():
            raise self.slip("a length in whole hundredths of a millimetre")
        if hundredths < least:
            raise self.slip(f"a length of at least {least} hundredths of a millimetre")
        return int(hundredths)

    def text(self) -> str:
        """A text."""
        if not isinstance(self.value, str):
            raise self.slip("text")
        return self.value

    def word(self, *words: str) -> str:
        """One of these words."""
        text = self.text()
        if text not in words:
            raise self.slip(f"one of {', '.join(words)}")
        return text

    def flag(self) -> bool:
        """True or false."""
        if not isinstance(self.value, bool):
            raise self.slip("true or false")
        return self.value
