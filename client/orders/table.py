"""Reading the three kinds of file, as far as no column has a meaning yet.

Text files are UTF-8, with or without a byte-order mark; what is no UTF-8 is read as Windows-1252,
and a note says so. Cells are stripped; a blank cell is None.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeAlias

from client.errors import InputWrong

MOST_BYTES: Final = 20 * 1024 * 1024
"""Largest order file."""

MOST_UNPACKED: Final = 200 * 1024 * 1024
"""Largest workbook once unpacked."""

MOST_ROWS: Final = 10_000
"""Lines of one order; the contract takes no more."""

MOST_COLUMNS: Final = 100
_DELIMITERS: Final = {";": "semicolons", "\t": "tabs", ",": "commas"}

Cell: TypeAlias = str | int | float | None


@dataclass(frozen=True, slots=True)
class Row:
    """A line with its number in the file, counted from 1 as editors and spreadsheets do."""

    line: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """The header line, the lines under it that hold anything, and notes on how the file was read."""

    header: Row
    rows: tuple[Row, ...]
    notes: tuple[str, ...]


def read_bytes(path: Path) -> bytes:
    """A whole file, at most :data:`MOST_BYTES`.

    Raises
    ------
    InputWrong
        When it cannot be read, is empty or too large.
    """
    try:
        with path.open("rb") as source:
            data = source.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputWrong(f"{path} cannot be read: {error.strerror}") from error
    if len(data) > MOST_BYTES:
        raise InputWrong(f"{path} is larger than {MOST_BYTES // 1024 // 1024} MB; split the order")
    if not data.strip():
        raise InputWrong(f"{path} is empty")
    return data


def read_json(path: Path) -> Any:
    """A JSON document; a name that is there twice in one object is refused.

    Raises
    ------
    InputWrong
        When it is no JSON; the message names line and column.
    """
    try:
        text = read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputWrong(f"{path} is not UTF-8 text (byte {error.start})") from error
    try:
        return json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        raise InputWrong(
            f"{path}, line {error.lineno}, column {error.colno}: this is not JSON ({error.msg})"
        ) from error
    except RecursionError as error:
        raise InputWrong(f"{path}: lists and objects are too deeply nested") from error
    except ValueError as error:
        raise InputWrong(f"{path}: {error}") from error


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"{twice!r} is there twice in one object; which one counts?")
    return found


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not a number; a finite number is wanted")


def read_csv(path: Path, is_known: Callable[[str], bool]) -> Table:
    """A text table with semicolons, tabs or commas.

    Parameters
    ----------
    path
        The file.
    is_known
        Whether a text is the name of a column; it decides what separates the columns.

    Raises
    ------
    InputWrong
        When the file is no such table.
    """
    data = read_bytes(path)
    if b"\0" in data:
        raise InputWrong(f"{path} is not a text table; save it as CSV (UTF-8) or give the .xlsx file")
    notes: list[str] = []
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
        notes.append(f"{path.name} is not UTF-8; it was read as Windows-1252, so look at special letters")
    delimiter = _delimiter(path, text, is_known)
    rows = _csv_rows(path, text, delimiter)
    return _table(path, rows, notes)


def _csv_rows(path: Path, text: str, delimiter: str) -> Iterator[Row]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line = 1
    try:
        for cells in reader:
            yield Row(line, tuple(cell.replace("\xa0", " ").strip() or None for cell in cells))
            line = reader.line_num + 1
    except csv.Error as error:
        raise InputWrong(
            f"{path}, line {line}: a quoted field does not end, or goes on after its closing quote ({error})"
        ) from error


def _delimiter(path: Path, text: str, is_known: Callable[[str], bool]) -> str:
    """What makes the most known names out of the first line that holds anything; at a tie the first."""
    head = next((line for line in re.split(r"\r\n?|\n", text) if line.strip(" \t;,")), None)
    if head is None:
        raise InputWrong(f"{path} holds no lines")
    best, most = ";", -1
    for delimiter in _DELIMITERS:
        try:
            cells = next(csv.reader([head], delimiter=delimiter, strict=True))
        except csv.Error:
            continue
        known = sum(is_known(cell.strip()) for cell in cells)
        if known > most:
            best, most = delimiter, known
    if most == 0:
        raise InputWrong(
            f"{path}, first line: no column name is known in {head[:80]!r}; the first line has to name the "
            "columns, for example: ref;length;width;quantity;material;thickness"
        )
    return best


def read_xlsx(path: Path) -> Table:
    """The first visible sheet of a workbook; values as they were calculated when it was saved.

    Raises
    ------
    InputWrong
        When the file is no workbook.
    """
    data = read_bytes(path)
    _refuse_bomb(path, data)
    # Takes half a second to load, and no other command needs it.
    import openpyxl  # noqa: PLC0415

    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
        try:
            visible = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
            if not visible:
                raise InputWrong(f"{path} has no visible sheet")
            sheet = visible[0]
            notes = []
            if len(visible) > 1:
                notes.append(
                    f"{path.name} has {len(visible)} sheets; only the first, {sheet.title!r}, is read"
                )
            rows = (
                Row(number, tuple(_cell(path, number, value) for value in values[:MOST_COLUMNS]))
                for number, values in enumerate(sheet.iter_rows(values_only=True), start=1)
            )
            table = _table(path, rows, notes)
            name = sheet.title
        finally:
            book.close()
        _refuse_uncalculated(path, data, name, table)
        return table
    except InputWrong:
        raise
    except Exception as error:
        # A damaged workbook fails in many ways inside the reader; to the shop they are all one.
        raise InputWrong(f"{path} is not a workbook that can be read ({error}); save it again") from error


def _refuse_uncalculated(path: Path, data: bytes, sheet: str, table: Table) -> None:
    """A formula that was never calculated reads like an empty cell; it is named as what it is."""
    import openpyxl  # noqa: PLC0415 - as above

    wide = len(table.header.cells)
    if all(len(row.cells) >= wide and None not in row.cells[:wide] for row in table.rows):
        return
    empty = {
        (row.line, place)
        for row in table.rows
        for place in range(wide)
        if place >= len(row.cells) or row.cells[place] is None
    }
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
    try:
        for number, values in enumerate(book[sheet].iter_rows(values_only=True), start=1):
            for place, value in enumerate(values[:wide]):
                formula = getattr(value, "text", value)
                if (number, place) in empty and isinstance(formula, str) and formula.startswith("="):
                    column = table.header.cells[place]
                    raise InputWrong(
                        f"{path}, line {number}, {column or f'column {place + 1}'}: the formula "
                        f"{formula[:60]} was never calculated; open the file in a spreadsheet and save it, "
                        "or write the value itself"
                    )
    finally:
        book.close()


def _refuse_bomb(path: Path, data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(entry.file_size for entry in packed.infolist())
    except zipfile.BadZipFile as error:
        raise InputWrong(f"{path} is not an .xlsx workbook; save it as .xlsx or CSV") from error
    if size > MOST_UNPACKED:
        raise InputWrong(f"{path} unpacks to more than {MOST_UNPACKED // 1024 // 1024} MB; split the order")


def _cell(path: Path, line: int, value: object) -> Cell:
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value
    text = str(value).replace("\xa0", " ").strip()
    return text or None


def _table(path: Path, rows: Iterable[Row], notes: list[str]) -> Table:
    filled = (row for row in rows if any(cell is not None for cell in row.cells))
    header = next(filled, None)
    if header is None:
        raise InputWrong(f"{path} holds no lines")
    kept: list[Row] = []
    for row in filled:
        if len(kept) == MOST_ROWS:
            raise InputWrong(f"{path} has more than {MOST_ROWS} lines; split the order")
        kept.append(row)
    if not kept:
        raise InputWrong(f"{path} names columns and holds no lines under them")
    return Table(header, tuple(kept), tuple(notes))
