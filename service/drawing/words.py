"""Lines of the printed program: labels, counts, sizes, and where lines are broken."""

from __future__ import annotations

import textwrap
from typing import Final

from service.engine.quantities import Length, show_mm

INDENT: Final = 10
"""Columns before the text of a labelled line."""

_TIED: Final = "\u00a0×\u00a0"

MARKS: Final[dict[str, str]] = {"stop": "STOP", "caution": "CAUTION", "note": "NOTE"}


def size_text(one: Length, other: Length) -> str:
    """Both sides in mm, the longer first."""
    return f"{show_mm(max(one, other))} × {show_mm(min(one, other))}"


def lying_text(along: Length, across: Length) -> str:
    """Both sides in mm, the one along the rolling direction first, as stock is recorded."""
    return f"{show_mm(along)} × {show_mm(across)}"


def stock_text(sheets: int, offcuts: int) -> str:
    """What is taken from the rack.

    >>> stock_text(1, 2), stock_text(3, 0), stock_text(0, 0)
    ('1 sheet and 2 offcuts', '3 sheets', 'no stock')
    """
    taken = [counted(number, what) for number, what in ((sheets, "sheet"), (offcuts, "offcut")) if number]
    return " and ".join(taken) or "no stock"


def kg_text(kg: float) -> str:
    """A mass as a person lifts it: tenths matter below 10 kg only."""
    return f"{kg:.1f} kg" if kg < 10 else f"{kg:.0f} kg"


def counted(number: int, what: str) -> str:
    """So many of it: one piece, two pieces."""
    return f"{number} {what}" if number == 1 else f"{thousands(number)} {what}s"


def thousands(number: int) -> str:
    """A number with its thousands apart.

    >>> thousands(10633), thousands(505)
    ('10 633', '505')
    """
    return f"{number:,}".replace(",", " ")


def row(label: str, text: str, width: int) -> list[str]:
    """A line with its label on the left; text that is longer goes on below itself."""
    return wrapped(text, width, f"  {label:<{INDENT - 2}}", " " * INDENT)


def wrapped(text: str, width: int, first: str = "", other: str = "") -> list[str]:
    """Lines of at most `width` columns; `first` and `other` stand before the first line and the others."""
    # A count or a size is not torn from its number.
    lines = textwrap.wrap(
        text.replace(" × ", _TIED),
        width,
        initial_indent=first,
        subsequent_indent=other,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_TIED, " × ") for line in lines]


def ends(left: str, right: str, width: int) -> str:
    """Text at both ends of a line; on two lines when they do not fit."""
    room = width - len(left) - len(right)
    return f"{left}{' ' * room}{right}" if room >= 2 else f"{left}\n{right:>{width}}"
