"""What the columns of an order table are called, and how a line becomes a part of a plan request."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from client.orders.table import Cell, Row

REQUIRED: Final = ("ref", "length", "width", "quantity", "material", "thickness")
OPTIONAL: Final = ("grain", "tolerance", "plus", "minus", "rotate", "value")

_ALSO: Final[dict[str, str]] = {
    "reference": "ref",
    "part": "ref",
    "part ref": "ref",
    "part reference": "ref",
    "part no": "ref",
    "part number": "ref",
    "item": "ref",
    "pos": "ref",
    "position": "ref",
    "l": "length",
    "w": "width",
    "qty": "quantity",
    "pcs": "quantity",
    "pieces": "quantity",
    "count": "quantity",
    "grade": "material",
    "t": "thickness",
    "thk": "thickness",
    "grain direction": "grain",
    "class": "tolerance",
    "tolerance class": "tolerance",
    "tol": "tolerance",
    "tolerance plus": "plus",
    "upper limit": "plus",
    "tolerance minus": "minus",
    "lower limit": "minus",
    "turn": "rotate",
    "worth": "value",
    "value each": "value",
}
_WITH_UNIT: Final = frozenset({"length", "width", "thickness", "plus", "minus"})
_HEADER: Final = re.compile(
    r"^(?P<name>.*?)[\s_]*(?:\(\s*(?P<a>mm|in)\s*\)|\[\s*(?P<b>mm|in)\s*\]|[\s_](?P<c>mm|in))?$"
)
_LIMITS: Final = re.compile(r"^\+\s*(?P<plus>[^/;±]+?)\s*[/; ]\s*[-−–]\s*(?P<minus>.+)$")
_YES: Final = {
    "yes": True,
    "y": True,
    "true": True,
    "1": True,
    "no": False,
    "n": False,
    "false": False,
    "0": False,
}


@dataclass(frozen=True, slots=True)
class Column:
    """A column: what it holds, as it is headed, where it stands, and the unit its heading names."""

    name: str
    heading: str
    place: int
    unit: str | None

    @property
    def letter(self) -> str:
        """As spreadsheets name it."""
        text, count = "", self.place + 1
        while count:
            count, rest = divmod(count - 1, 26)
            text = chr(ord("A") + rest) + text
        return text


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong, on which line and in which column."""

    line: int
    column: str | None
    message: str

    def __str__(self) -> str:
        where = f"line {self.line}" + (f", {self.column}" if self.column else "")
        return f"{where}: {self.message}"


def column_named(heading: str, place: int = 0) -> Column | None:
    """The column a heading means; None when it is not known.

    >>> column_named("Length (mm)").name, column_named("QTY").name, column_named("colour")
    ('length', 'quantity', None)
    """
    found = _HEADER.match(heading.strip().lower())
    if found is None:
        return None
    unit = found["a"] or found["b"] or found["c"]
    words = " ".join(found["name"].replace("_", " ").replace(".", " ").split())
    name = words if words in {*REQUIRED, *OPTIONAL} else _ALSO.get(words)
    if name is None or (unit is not None and name not in _WITH_UNIT):
        return None
    return Column(name, heading.strip(), place, unit)


def columns_of(header: Row) -> tuple[list[Column], list[Problem]]:
    """The columns of a header line, and what is wrong with it."""
    columns: list[Column] = []
    problems: list[Problem] = []
    for place, cell in enumerate(header.cells):
        letter = Column("", "", place, None).letter
        if cell is None:
            continue
        column = column_named(str(cell), place)
        if column is None:
            known = ", ".join((*REQUIRED, *OPTIONAL))
            problems.append(
                Problem(
                    header.line,
                    f"column {letter}",
                    f"{str(cell)!r} is not a column of an order; remove it or name it one of {known}",
                )
            )
            continue
        before = next((one for one in columns if one.name == column.name), None)
        if before is not None:
            problems.append(
                Problem(
                    header.line,
                    f"column {letter}",
                    f"{column.heading!r} and {before.heading!r} (column {before.letter}) both mean "
                    f"{column.name}; one is wanted",
                )
            )
            continue
        columns.append(column)
    missing = [name for name in REQUIRED if all(one.name != name for one in columns)]
    if missing:
        problems.append(
            Problem(header.line, None, f"{_listed(missing)} missing; wanted are {', '.join(REQUIRED)}")
        )
    return columns, problems


_SIZES: Final = frozenset({"length", "width", "thickness", "plus", "minus", "value"})
_COMMA: Final = re.compile(r"^\d+,\d+(\s*[a-z]+)?$", re.IGNORECASE)
_POINT: Final = re.compile(r"^[1-9]\d{0,2}\.\d{3}(\s*mm)?$", re.IGNORECASE)


def points_for_thousands(rows: Iterable[Row], columns: list[Column]) -> list[Problem]:
    """Sizes such as 1.200 in a file that writes 100,5 as well: 1200 and 1.2 are both meant by somebody."""
    sizes = [
        (row.line, column.heading, cell.strip())
        for row in rows
        for column in columns
        if column.name in _SIZES and column.place < len(row.cells)
        for cell in (row.cells[column.place],)
        if isinstance(cell, str)
    ]
    if not any(_COMMA.match(text) for _, _, text in sizes):
        return []
    return [
        Problem(
            line,
            heading,
            f"{text!r} can be read two ways in a file with decimal commas; write "
            f"{text.replace('.', '')} or {text.replace('.', ',').rstrip('0')}",
        )
        for line, heading, text in sizes
        if _POINT.match(text)
    ]


def part_of(row: Row, columns: list[Column]) -> tuple[dict[str, Any], list[Problem]]:
    """A line as a part of a plan request. Sizes stay as they were written; the contract reads them."""
    part: dict[str, Any] = {}
    problems: list[Problem] = []
    width = max(column.place for column in columns) + 1
    beyond = [cell for cell in row.cells[width:] if cell is not None]
    if beyond:
        problems.append(
            Problem(
                row.line,
                None,
                f"holds more values than there are columns ({beyond[0]!r} is left over); a decimal comma in "
                "a file with commas has to be quoted",
            )
        )
    under_none = {column.place for column in columns}
    for place, cell in enumerate(row.cells[:width]):
        if cell is not None and place not in under_none:
            problems.append(Problem(row.line, None, f"{cell!r} stands under no column name"))
    tolerance: dict[str, Any] = {}
    for column in columns:
        cell = row.cells[column.place] if column.place < len(row.cells) else None
        if cell is None:
            continue
        try:
            _take(column, cell, part, tolerance)
        except ValueError as error:
            problems.append(Problem(row.line, column.heading, str(error)))
    if tolerance:
        part["tolerance"] = tolerance
    return part, problems


def _take(column: Column, cell: Cell, part: dict[str, Any], tolerance: dict[str, Any]) -> None:
    name = column.name
    if name == "quantity":
        part[name] = _whole(cell)
    elif name in {"length", "width", "thickness"}:
        part[name] = _sized(cell, column.unit)
    elif name in {"plus", "minus"}:
        _set_limit(tolerance, name, _sized(cell, column.unit))
    elif name == "tolerance":
        for key, value in _tolerance(str(cell)).items():
            _set_limit(tolerance, key, value)
    elif name == "value":
        part[name] = _amount(cell)
    elif name == "grain":
        part[name] = str(cell).lower()
    elif name == "rotate":
        word = str(cell).lower()
        if word not in _YES:
            raise ValueError(f"{cell!r} is neither yes nor no")
        part[name] = _YES[word]
    else:
        part[name] = _text(cell)


def _set_limit(tolerance: dict[str, Any], key: str, value: Any) -> None:
    if key in tolerance:
        raise ValueError(f"the {key} limit is given twice")
    tolerance[key] = value


def _text(cell: Cell) -> str:
    # A spreadsheet turns the ref 12 into the number 12.0.
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell)


def _sized(cell: Cell, unit: str | None) -> Any:
    if unit is None or cell is None:
        return cell
    text = str(cell)
    return f"{text} {unit}" if not re.search(r"[a-z\"″”']", text, re.IGNORECASE) else text


def _whole(cell: Cell) -> int:
    if isinstance(cell, float) and cell.is_integer():
        return int(cell)
    if isinstance(cell, int):
        return cell
    text = str(cell)
    if re.fullmatch(r"\d{1,9}([.,]0+)?", text) and not re.fullmatch(r"[1-9]\d{0,2}[.,]000", text):
        return int(re.split(r"[.,]", text)[0])
    raise ValueError(f"{text!r} is not a whole number of pieces; write for example 24")


def _amount(cell: Cell) -> int | float:
    """A sum of money, with a decimal point or comma; a comma before three digits could mean thousands."""
    if isinstance(cell, int | float):
        return cell
    text = str(cell)
    if not re.fullmatch(r"\d{1,9}([.,]\d+)?", text) or re.fullmatch(r"[1-9]\d{0,2},000", text):
        raise ValueError(f"{text!r} is not an amount; write for example 12.50, without a currency")
    return float(text.replace(",", "."))


def _tolerance(text: str) -> Mapping[str, Any]:
    """A class of ISO 2768-1, or limits: ``m``, ``±0,5``, ``+0.5/-0.2``, ``0.5``."""
    word = text.strip()
    if word.lower() in {"f", "m", "c", "v"}:
        return {"class": word.lower()}
    if found := _LIMITS.match(word):
        return {"plus": found["plus"].strip(), "minus": found["minus"].strip()}
    bare = word.removeprefix("±").removeprefix("+/-").removeprefix("+-").strip()
    if bare and bare[0].isdigit():
        return {"plus": bare, "minus": bare}
    raise ValueError(
        f"{text!r} is not a tolerance; write a class of ISO 2768-1 (f, m, c, v), ±0.5, or +0.5/-0.2"
    )


def _listed(names: list[str]) -> str:
    return f"column {names[0]} is" if len(names) == 1 else f"columns {', '.join(names)} are"
