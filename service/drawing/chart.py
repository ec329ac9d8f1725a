"""A plain chart: two axes, curves told apart by dashes, marks and words, and zones that are shut.

Every curve bears its name at its end, so that no legend has to be looked up and a black and white
print says the same. All measures here are drawing units of the picture (at 96 to the inch).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree import ElementTree as ET

from service.drawing.lettering import FONT, clean, text_width, wrap

INK: Final = "#16202b"
PALE: Final = "#5a6672"
_GRID: Final = "#e3e7eb"
_SHUT: Final = "#b8480b"
_STROKES: Final = (
    ("#0b62a4", "", "circle"),
    ("#16202b", "9 4", "square"),
    ("#b8480b", "3 3", "diamond"),
    ("#4b6b00", "12 3 3 3", "triangle"),
    ("#7a3d8f", "2 5", "circle"),
    ("#006d6d", "16 5", "square"),
    ("#8a6d00", "6 2 2 2 2 2", "diamond"),
    ("#5a6672", "1 3", "triangle"),
)
"""Colours that keep apart for people who do not see red or green, each with its own dash and mark."""

_TEXT: Final = 12.0
_LINE: Final = 16.0
_LEFT: Final = 74.0
_PLOT_WIDE: Final = 620.0
_PLOT_HIGH: Final = 380.0
_MARKS_EVERY: Final = 6


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis: from where to where, ticks with their words, and what it measures."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    name: str
    logarithmic: bool = False

    def share(self, value: float) -> float:
        """Where a value lies along the axis, 0 to 1."""
        if self.logarithmic:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True, slots=True)
class Curve:
    """Points of a curve, and the words at its end."""

    points: tuple[tuple[float, float], ...]
    label: str


def round_ticks(high: float, about: int = 8) -> tuple[tuple[float, str], ...]:
    """Ticks from 0 at a round distance (1, 2 or 5 times a power of ten), up to `high`.

    >>> round_ticks(7.0)
    ((0.0, '0'), (1.0, '1'), (2.0, '2'), (3.0, '3'), (4.0, '4'), (5.0, '5'), (6.0, '6'), (7.0, '7'))
    """
    power = 10.0 ** math.floor(math.log10(high / about))
    step = next(step * power for step in (1, 2, 5, 10) if step * power * about >= high * 0.999)
    count = math.floor(high / step + 1e-9)
    return tuple((round(i * step, 9), f"{round(i * step, 9):g}") for i in range(count + 1))


def chart_svg(
    title: str,
    lines: Sequence[str],
    x: Axis,
    y: Axis,
    curves: Sequence[Curve],
    *,
    shut_above: tuple[float, str] | None = None,
    mark_x: tuple[float, str] | None = None,
    foot: str = "",
) -> str:
    """Draw a chart.

    Parameters
    ----------
    title, lines
        The heading, and lines under it.
    x, y
        The axes.
    curves
        At most as many as there are strokes (8); each with at least one point.
    shut_above
        A limit on y: what lies above is hatched, with these words.
    mark_x
        An upright line, with these words.
    foot
        A line below the picture.

    Returns
    -------
    An SVG document; the same for the same input everywhere.

    Raises
    ------
    ValueError
        When there are more curves than strokes to tell them apart.
    """
    if len(curves) > len(_STROKES):
        raise ValueError(f"{len(curves)} curves: at most {len(_STROKES)} can be told apart in one picture")
    top = 40 + _LINE * len(lines) + 22
    words = max((text_width(curve.label, _TEXT) for curve in curves), default=0.0)
    wide = _LEFT + _PLOT_WIDE + 34 + words + 16
    feet = wrap(clean(foot), _TEXT - 1, wide - 32) if foot else ()
    high = top + _PLOT_HIGH + 56 + _LINE * len(feet)
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "role": "img",
            "viewBox": f"0 0 {_n(wide)} {_n(high)}",
            "width": _n(wide),
            "height": _n(high),
            "font-family": FONT,
        },
    )
    _add(root, "title", {}, title)
    _add(root, "desc", {}, "; ".join([*lines, *(curve.label for curve in curves)]))
    definitions = _add(root, "defs", {})
    hatch = _add(
        definitions,
        "pattern",
        {"id": "shut", "width": "8", "height": "8", "patternUnits": "userSpaceOnUse"},
    )
    _add(
        hatch,
        "path",
        {"d": "M0 8L8 0", "stroke": _SHUT, "stroke-width": "0.8", "stroke-opacity": "0.55"},
    )
    _add(root, "rect", {"width": _n(wide), "height": _n(high), "fill": "#ffffff"})
    _text(root, 16, 30, title, 17, bold=True)
    for number, line in enumerate(lines):
        _text(root, 16, 48 + _LINE * number, line, _TEXT, fill=PALE)

    def at(px: float, py: float) -> tuple[float, float]:
        return (
            _LEFT + _PLOT_WIDE * min(1.0, max(0.0, x.share(px))),
            top + _PLOT_HIGH * (1 - min(1.0, max(0.0, y.share(py)))),
        )

    _axes(root, x, y, at, top)
    if shut_above is not None and shut_above[0] < y.high:
        _shut(root, at, x, y, *shut_above)
    if mark_x is not None and x.low <= mark_x[0] <= x.high:
        px, _ = at(mark_x[0], y.low)
        _line(root, (px, top), (px, top + _PLOT_HIGH), PALE, "4 4")
        left = px + text_width(mark_x[1], _TEXT - 1) + 8 > _LEFT + _PLOT_WIDE
        _text(
            root,
            px + (-5 if left else 5),
            top + _PLOT_HIGH - 8,
            mark_x[1],
            _TEXT - 1,
            fill=PALE,
            anchor="end" if left else "start",
        )
    _curves(root, curves, at, top)
    for number, line in enumerate(feet):
        _text(root, 16, top + _PLOT_HIGH + 58 + _LINE * number, line, _TEXT - 1, fill=PALE)
    ET.indent(root, " ")
    return ET.tostring(root, encoding="unicode", xml_declaration=False) + "\n"


_At = Callable[[float, float], tuple[float, float]]


def _axes(root: ET.Element, x: Axis, y: Axis, at: _At, top: float) -> None:
    bottom = top + _PLOT_HIGH
    for value, words in x.ticks:
        px, _ = at(value, y.low)
        _line(root, (px, top), (px, bottom), _GRID)
        _text(root, px, bottom + 17, words, _TEXT, anchor="middle")
    for value, words in y.ticks:
        _, py = at(x.low, value)
        _line(root, (_LEFT, py), (_LEFT + _PLOT_WIDE, py), _GRID)
        _text(root, _LEFT - 8, py + 4, words, _TEXT, anchor="end")
    _line(root, (_LEFT, bottom), (_LEFT + _PLOT_WIDE, bottom), INK)
    _line(root, (_LEFT, top), (_LEFT, bottom), INK)
    _text(root, _LEFT + _PLOT_WIDE, bottom + 36, x.name, _TEXT, anchor="end", bold=True)
    _text(root, 16, top - 10, y.name, _TEXT, bold=True)


def _shut(root: ET.Element, at: _At, x: Axis, y: Axis, limit: float, words: str) -> None:
    (left, up), (right, down) = at(x.low, y.high), at(x.high, limit)
    _add(
        root,
        "rect",
        {
            "x": _n(left),
            "y": _n(up),
            "width": _n(right - left),
            "height": _n(down - up),
            "fill": "url(#shut)",
        },
    )
    _line(root, (left, down), (right, down), _SHUT)
    wide = text_width(words, _TEXT) + 10
    _add(
        root,
        "rect",
        {"x": _n(left + 6), "y": _n(down - 20), "width": _n(wide), "height": "17", "fill": "#ffffff"},
    )
    _text(root, left + 11, down - 7, words, _TEXT, fill=_SHUT)


def _curves(root: ET.Element, curves: Sequence[Curve], at: _At, top: float) -> None:
    ends = [at(*curve.points[-1]) for curve in curves]
    rows = _spread([py for _, py in ends], top, top + _PLOT_HIGH)
    for number, curve in enumerate(curves):
        colour, dash, mark = _STROKES[number]
        places = [at(*point) for point in curve.points]
        drawn = {
            "d": "M" + "L".join(f"{_n(px)} {_n(py)}" for px, py in places),
            "fill": "none",
            "stroke": colour,
            "stroke-width": "2",
            "stroke-linejoin": "round",
        }
        _add(root, "path", drawn | ({"stroke-dasharray": dash} if dash else {}))
        # Each curve begins its marks elsewhere, so that they do not hide one another.
        first = len(places) * (number + 1) // (_MARKS_EVERY * (len(curves) + 1))
        for place in places[first :: max(1, len(places) // _MARKS_EVERY)]:
            _mark(root, place, colour, mark)
        px, py = ends[number]
        _line(root, (px, py), (_LEFT + _PLOT_WIDE + 22, rows[number]), colour, "", 0.8)
        _mark(root, (_LEFT + _PLOT_WIDE + 22, rows[number]), colour, mark)
        _text(root, _LEFT + _PLOT_WIDE + 32, rows[number] + 4, curve.label, _TEXT, fill=colour)


def _spread(wanted: Sequence[float], top: float, bottom: float) -> list[float]:
    """Rows for labels: as near to where they are wanted as a line's height between them allows."""
    order = sorted(range(len(wanted)), key=lambda index: (wanted[index], index))
    rows = [0.0] * len(wanted)
    free = top
    for index in order:
        rows[index] = free = max(wanted[index], free)
        free += _LINE
    over = free - _LINE - bottom
    limit = bottom
    for index in reversed(order):
        if over > 0:
            rows[index] = min(rows[index], limit)
            limit = rows[index] - _LINE
    return rows


def _mark(root: ET.Element, place: tuple[float, float], colour: str, kind: str) -> None:
    px, py = place
    r = 3.6
    shapes = {
        "square": ((-r, -r), (r, -r), (r, r), (-r, r)),
        "diamond": ((0, -r - 1), (r + 1, 0), (0, r + 1), (-r - 1, 0)),
        "triangle": ((0, -r - 1), (r + 1, r), (-r - 1, r)),
    }
    style = {"fill": "#ffffff", "stroke": colour, "stroke-width": "1.6"}
    if kind == "circle":
        _add(root, "circle", {"cx": _n(px), "cy": _n(py), "r": _n(r), **style})
        return
    corners = " ".join(f"{_n(px + dx)},{_n(py + dy)}" for dx, dy in shapes[kind])
    _add(root, "polygon", {"points": corners, **style})


def _line(
    root: ET.Element,
    start: tuple[float, float],
    end: tuple[float, float],
    colour: str,
    dash: str = "",
    width: float = 1.0,
) -> None:
    drawn = {
        "x1": _n(start[0]),
        "y1": _n(start[1]),
        "x2": _n(end[0]),
        "y2": _n(end[1]),
        "stroke": colour,
        "stroke-width": f"{width:g}",
    }
    _add(root, "line", drawn | ({"stroke-dasharray": dash} if dash else {}))


def _text(
    root: ET.Element,
    x: float,
    y: float,
    words: str,
    size: float,
    *,
    fill: str = INK,
    anchor: str = "start",
    bold: bool = False,
) -> None:
    style = {"x": _n(x), "y": _n(y), "font-size": f"{size:g}", "fill": fill, "text-anchor": anchor}
    _add(root, "text", style | ({"font-weight": "bold"} if bold else {}), words)


def _add(root: ET.Element, tag: str, values: dict[str, str], words: str | None = None) -> ET.Element:
    made = ET.SubElement(root, tag, values)
    if words is not None:
        made.text = clean(words)
    return made


def _n(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")
