"""The strokes that pictures of sheets are made of: rectangles, text that stays in its room, hatching."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final
from xml.etree import ElementTree as ET

from service.drawing.lettering import FONT, LINE, Box, Fitted, clean

INK: Final = "#16202b"
PALE: Final = "#5a6672"
_HATCH: Final = {"offcut": "#0b62a4", "scrap": "#b8480b", "trim": "#3f4750"}


class Taken:
    """Where text and marks stand already, looked up by the neighbourhood."""

    _CELL: Final = 48.0

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[Box]] = {}

    def _keys(self, box: Box) -> Iterable[tuple[int, int]]:
        cell = self._CELL
        for column in range(int(box.x // cell), int((box.x + box.dx) // cell) + 1):
            for row in range(int(box.y // cell), int((box.y + box.dy) // cell) + 1):
                yield column, row

    def add(self, box: Box) -> None:
        """Keep a box as taken."""
        for key in self._keys(box):
            self._cells.setdefault(key, []).append(box)

    def near(self, box: Box) -> list[Box]:
        """What is taken already and meets a box."""
        return [other for key in self._keys(box) for other in self._cells.get(key, ()) if other.meets(box)]


class Pen:
    """Draws into one SVG document; `prefix` keeps its ids apart from those of other pictures in a page."""

    def __init__(self, prefix: str) -> None:
        self.prefix = prefix
        self.taken = Taken()
        self.root = ET.Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})

    def patterns(self) -> None:
        """Define the hatching of what is no part."""
        defs = add(self.root, "defs")
        for kind, path, side, width in (
            ("offcut", "M0 12L12 0M-2 2L2 -2M10 14L14 10", 12, "0.9"),
            ("scrap", "M0 0L8 8M8 0L0 8", 8, "0.8"),
            ("trim", "M0 4L4 0M-1 1L1 -1M3 5L5 3", 4, "1.1"),
        ):
            pattern = add(
                defs,
                "pattern",
                {
                    "id": f"{self.prefix}{kind}",
                    "width": str(side),
                    "height": str(side),
                    "patternUnits": "userSpaceOnUse",
                },
            )
            add(pattern, "rect", {"width": str(side), "height": str(side), "fill": "#ffffff"})
            add(pattern, "path", {"d": path, "stroke": _HATCH[kind], "stroke-width": width, "fill": "none"})

    def rect(self, group: ET.Element, box: Box, attributes: dict[str, str]) -> ET.Element:
        """Draw a box."""
        place = {"x": number(box.x), "y": number(box.y), "width": number(box.dx), "height": number(box.dy)}
        return add(group, "rect", {**place, **attributes})

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        anchor: str | None = None,
        weight: str | None = None,
        fill: str = INK,
        group: ET.Element | None = None,
        transform: str | None = None,
    ) -> None:
        """Write a line of text."""
        attributes = {
            "x": number(x),
            "y": number(y),
            "font-size": number(size),
            "font-family": FONT,
            "fill": fill,
        }
        attributes["stroke"] = "none"
        extra = {"text-anchor": anchor, "font-weight": weight, "transform": transform}
        attributes.update({name: value for name, value in extra.items() if value is not None})
        add(self.root if group is None else group, "text", attributes, text)

    def set_in(self, group: ET.Element, fitted: Fitted) -> None:
        """Write text as it was fitted into its room."""
        x, y = fitted.box.middle
        size = fitted.size
        turned = f"rotate(-90 {number(x)} {number(y)})" if fitted.upright else None
        first = y - size * LINE * (len(fitted.lines) - 1) / 2 + 0.36 * size
        for count, line in enumerate(fitted.lines):
            bold = "bold" if fitted.bold or (count == 0 and len(fitted.lines) > 1) else None
            at = first + count * size * LINE
            self.text(x, at, line, size, anchor="middle", weight=bold, group=group, transform=turned)


def quarter_disc(x: float, y: float, radius: float) -> str:
    """Two opposite quarters of a disc."""
    r = number(radius)
    return (
        f"M{number(x)} {number(y)}V{number(y - radius)}A{r} {r} 0 0 1 {number(x + radius)} {number(y)}Z"
        f"M{number(x)} {number(y)}V{number(y + radius)}A{r} {r} 0 0 1 {number(x - radius)} {number(y)}Z"
    )


def double_arrow(x: float, y: float, width: float) -> str:
    """The path of a double arrow."""
    near, far, left, right = (number(one) for one in (x + 9, x + width - 9, x, x + width))
    above, level, below = (number(one) for one in (y - 5, y, y + 5))
    return (
        f"M{left} {level}H{right}M{near} {above}L{left} {level}L{near} {below}"
        f"M{far} {above}L{right} {level}L{far} {below}"
    )


def number(value: float) -> str:
    """A number of the picture: two decimals, no more, and never minus nought."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def add(parent: ET.Element, tag: str, attributes: dict[str, str] | None = None, text: str = "") -> ET.Element:
    """Put an element into another."""
    element = ET.SubElement(parent, tag, {name: clean(value) for name, value in (attributes or {}).items()})
    if text:
        element.text = clean(text)
    return element
