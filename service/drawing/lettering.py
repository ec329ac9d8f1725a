"""Text that never leaves its rectangle: widths reckoned with care, sizes chosen to fit.

All measures here are drawing units of the picture (at 96 to the inch), no lengths of the trade.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

FONT: Final = "Arial, 'Liberation Sans', 'DejaVu Sans', Helvetica, sans-serif"
"""Any sans-serif will do; widths are reckoned for the widest of the usual ones."""

LINE: Final = 1.25
"""Height of a line of text in font sizes."""

BOLD: Final = 1.12
"""How much wider bold type runs."""

_NARROW: Final = frozenset("ijlI.,:;'|!()[]-/ ")
_WIDE: Final = frozenset("mwMW@%—…")
_TALLER: Final = 1.4
"""Text is set upright only where that makes it so much larger."""

_READABLE: Final = 7.0
"""Size from which a text is read without a glass."""

_MIDDLE: Final = ((0.5, 0.5),)
_BESIDE: Final = tuple(
    sorted(
        ((x / 4, y / 4) for x in range(5) for y in range(5)),
        key=lambda at: (abs(at[0] - 0.5) + abs(at[1] - 0.5), at),
    )
)
"""Where in a box a text may stand, as shares of the room that is left; the nearest to the middle first."""


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle on the picture."""

    x: float
    y: float
    dx: float
    dy: float

    def inset(self, by: float) -> Box:
        """The box without a margin of that breadth on every side."""
        return Box(self.x + by, self.y + by, max(0.0, self.dx - 2 * by), max(0.0, self.dy - 2 * by))

    def meets(self, other: Box) -> bool:
        """Whether two boxes share more than an edge."""
        return (
            self.x < other.x + other.dx
            and other.x < self.x + self.dx
            and self.y < other.y + other.dy
            and other.y < self.y + self.dy
        )

    @property
    def middle(self) -> tuple[float, float]:
        """Its centre."""
        return self.x + self.dx / 2, self.y + self.dy / 2


@dataclass(frozen=True, slots=True)
class Fitted:
    """Lines of text as they are set: the size, the box they fill, and whether they run upwards."""

    lines: tuple[str, ...]
    size: float
    bold: bool
    box: Box
    upright: bool


def clean(text: str) -> str:
    """Text without what XML cannot carry or a reader cannot see: each such character becomes �.

    >>> clean("P" + chr(7))
    'P�'
    """
    return "".join("\ufffd" if unicodedata.category(c) in {"Cc", "Cs", "Cn"} else c for c in text)


def text_width(text: str, size: float, bold: bool = False) -> float:
    """How wide a text is at most, for the usual sans-serif types.

    >>> text_width("P1", 10) < text_width("PW", 10) < text_width("PW", 10, bold=True)
    True
    """
    return size * (BOLD if bold else 1.0) * sum(_share(character) for character in text)


def _share(character: str) -> float:
    if character in _NARROW:
        return 0.42
    if character in _WIDE:
        return 1.03
    if unicodedata.combining(character):
        return 0.0
    if ord(character) > 0x2E7F:
        return 1.1
    if not character.isascii() or not character.isalnum():
        return 0.86
    return 0.79 if character.isupper() else 0.65


def wrap(text: str, size: float, width: float) -> tuple[str, ...]:
    """Text broken into lines of that width at most; words that are longer are broken.

    >>> wrap("two words", 10, 50)
    ('two', 'words')
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        rest = word
        while text_width(rest, size) > width and len(rest) > 1:
            cut = len(rest) - 1
            while cut > 1 and text_width(rest[:cut], size) > width:
                cut -= 1
            if line:
                lines.append(line)
                line = ""
            lines.append(rest[:cut])
            rest = rest[cut:]
        joined = f"{line} {rest}" if line else rest
        if line and text_width(joined, size) > width:
            lines.append(line)
            line = rest
        else:
            line = joined
    return (*lines, line) if line else tuple(lines)


def fit(
    choices: Iterable[Sequence[str]],
    inside: Box,
    taken: Sequence[Box],
    largest: float,
    smallest: float,
    *,
    bold: bool = False,
) -> Fitted | None:
    """Set the first of `choices` that fits into a box, as large as it goes.

    Parameters
    ----------
    choices
        Lines of text, the fullest first; of several lines the first is set bold.
    inside
        Where the text may stand.
    taken
        Boxes that it must not touch.
    largest, smallest
        Limits of the size.
    bold
        Whether all of it is set bold.

    Returns
    -------
    None when nothing fits even at the smallest size.
    """
    near = [box for box in taken if box.meets(inside)]
    for choice in choices:
        lines = tuple(choice)
        flat, upright = (
            _largest(lines, inside, near, largest, smallest, bold, turned) for turned in (False, True)
        )
        if flat is None or (upright is not None and upright.size > _TALLER * flat.size):
            flat = upright
        if flat is not None:
            return flat
    return None


def _largest(
    lines: tuple[str, ...],
    inside: Box,
    near: Sequence[Box],
    largest: float,
    smallest: float,
    bold: bool,
    upright: bool,
) -> Fitted | None:
    """The largest text in the middle; where that is taken, beside it rather than too small to read."""
    readable = max(smallest, _READABLE)
    return (
        _set(lines, inside, near, (largest, readable), bold, upright, _MIDDLE)
        or _set(lines, inside, near, (largest, readable), bold, upright, _BESIDE)
        or _set(lines, inside, near, (min(largest, readable), smallest), bold, upright, _MIDDLE)
    )


def _set(
    lines: tuple[str, ...],
    inside: Box,
    near: Sequence[Box],
    sizes: tuple[float, float],
    bold: bool,
    upright: bool,
    places: Sequence[tuple[float, float]],
) -> Fitted | None:
    size, smallest = sizes
    while size >= smallest:
        along = max(
            text_width(line, size, bold or (place == 0 and len(lines) > 1))
            for place, line in enumerate(lines)
        )
        along += 0.25 * size  # a little air at both ends
        across = size * LINE * len(lines)
        dx, dy = (across, along) if upright else (along, across)
        if dx <= inside.dx and dy <= inside.dy:
            for right, down in places:
                box = Box(inside.x + right * (inside.dx - dx), inside.y + down * (inside.dy - dy), dx, dy)
                if not any(box.meets(other) for other in near):
                    return Fitted(lines, size, bold, box, upright)
        size -= 0.5
    return None
