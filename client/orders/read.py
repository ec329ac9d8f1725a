"""From an order file to a plan request, and from what is wrong with it to lines and columns."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, TypeAlias

from client.errors import InputWrong
from client.orders.columns import Column, Problem, column_named, columns_of, part_of, points_for_thousands
from client.orders.table import read_csv, read_json, read_xlsx
from schemas.problems import FieldError, WireError
from service.engine.quantities import QuantityError, parse_length, to_mm

MOST_SHOWN: Final = 50
"""Wrong lines that are shown; the rest are counted."""

Look: TypeAlias = Callable[[Mapping[str, Any]], Sequence[FieldError]]
"""Tells what is wrong with a request besides what the contract says of it."""

_KINDS: Final = ".csv, .txt, .tsv, .xlsx or .json"


@dataclass(frozen=True, slots=True)
class OrderFile:
    """A plan request read from a file, with where each part came from."""

    path: Path
    document: dict[str, Any]
    lines: tuple[int, ...] = ()
    columns: Mapping[str, Column] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()

    def wrong(self, errors: Sequence[FieldError]) -> InputWrong:
        """What the contract says of the request, told by line and column of the file."""
        return wrong_lines(self.path, self.placed(errors))

    def placed(self, errors: Sequence[FieldError]) -> list[Problem | FieldError]:
        """The same by line and column, where the file has such."""
        return [self._place(error) for error in errors]

    def _place(self, error: FieldError) -> Problem | FieldError:
        if error.pointer == "/machine" and error.message.startswith("no machine is known"):
            return FieldError(error.pointer, f"{error.message}; shearwright machines lists them")
        steps = error.pointer.split("/")[1:]
        if len(steps) < 2 or steps[0] != "parts" or not steps[1].isdigit() or not self.lines:
            return error
        line = self.lines[int(steps[1])]
        name = steps[-1] if len(steps) > 2 else None
        if name == "class":
            name = "tolerance"
        if name is not None and name not in self.columns and "tolerance" in steps:
            name = "tolerance"
        column = self.columns.get(name or "")
        return Problem(line, column.heading if column else name, self._lines_for_entries(error.message))

    def _lines_for_entries(self, message: str) -> str:
        # The contract counts entries from 0, which nobody finds in a file.
        words = message.split("of entry ")
        if len(words) == 2:
            number, _, rest = words[1].partition(";")
            if number.isdigit() and int(number) < len(self.lines):
                return f"{words[0]}on line {self.lines[int(number)]};{rest}".replace("the ref on", "used on")
        return message


def wrong_lines(path: Path, problems: Sequence[Problem | FieldError]) -> InputWrong:
    """One error for a whole file."""
    return InputWrong(told_by_line(path, problems, " cannot be planned as it is"))


def told_by_line(path: Path, problems: Sequence[Problem | FieldError], then: str = "") -> str:
    """Everything that is wrong with a file: in the order of its lines, the first fifty in full."""
    placed = sorted((one for one in problems if isinstance(one, Problem)), key=lambda one: one.line)
    others = [one for one in problems if isinstance(one, FieldError)]
    told = [f"  {one.pointer or '/'}: {one.message}" for one in others] + [f"  {one}" for one in placed]
    more = len(told) - MOST_SHOWN
    shown = told[:MOST_SHOWN] + ([f"  … and {more} more"] if more > 0 else [])
    fault = "1 fault" if len(told) == 1 else f"{len(told)} faults"
    return f"{path}{then}: {fault}\n" + "\n".join(shown)


def read_order_file(
    path: Path,
    *,
    machine: str | None = None,
    order_ref: str | None = None,
    units: str | None = None,
    gauge_table: str | None = None,
    effort: str | None = None,
    objective: str | None = None,
    open_stacks: int | None = None,
    stages: int | None = None,
    trim: str | None = None,
    offcut_min: str | None = None,
    batch: bool | None = None,
    look: Look | None = None,
) -> OrderFile:
    """Read an order file into a plan request.

    Parameters
    ----------
    path
        ``.csv``, ``.txt``, ``.tsv``, ``.xlsx`` or ``.json``.
    machine, order_ref, units, gauge_table, effort, objective, open_stacks, stages, trim, offcut_min, batch
        Win over what a JSON file says; a table says none of these. The order ref defaults to the
        name of the file. `trim` is a length and `offcut_min` two (``300x200``), as sizes are written.
    look
        Asked besides when something is wrong, so that one run tells everything.

    Raises
    ------
    InputWrong
        With every wrong line; nothing is planned then.
    """
    ending = path.suffix.lower()
    if ending == ".json":
        base, order_file = _from_json(path)
    elif ending == ".xlsx":
        order_file = _from_table(path, read_xlsx)
        base = order_file.document
    elif ending in {".csv", ".txt", ".tsv"}:
        order_file = _from_table(path, lambda p: read_csv(p, lambda text: column_named(text) is not None))
        base = order_file.document
    else:
        kind = f"{ending} files are" if ending else "a file without an ending is"
        raise InputWrong(f"{path}: {kind} not read; wanted is {_KINDS}")
    document = {"order_ref": path.stem, **base}
    given = {"machine": machine, "order_ref": order_ref, "units": units, "gauge_table": gauge_table}
    document.update({name: value for name, value in given.items() if value is not None})
    wishes: dict[str, Any] = {
        "effort": effort,
        "objective": objective,
        "open_stacks": open_stacks,
        "max_stages": stages,
        "trim_mm": None if trim is None else _trim_mm(trim, document.get("units")),
        "offcut_min": None if offcut_min is None else _two_sides(offcut_min),
        "batch": batch,
    }
    wishes = {name: value for name, value in wishes.items() if value is not None}
    if wishes:
        options = document.get("options")
        document["options"] = {**(options if isinstance(options, Mapping) else {}), **wishes}
    made = replace(order_file, document=document)
    if made.problems:
        raise wrong_lines(path, _with_others(made, look))
    if "machine" not in document:
        raise InputWrong("which machine? give --machine ID; shearwright machines lists them")
    return made


def _trim_mm(text: str, units: object) -> float:
    """The trim in millimetres, as the contract wants it; a bare number is in the units of the order."""
    try:
        return to_mm(parse_length(text, "in" if units == "in" else "mm", zero_ok=True))
    except QuantityError as error:
        raise InputWrong(f"--trim: {error}") from error


def _two_sides(text: str) -> list[str]:
    sides = re.split(r"\s*[x×]\s*", text.strip(), flags=re.IGNORECASE)
    if len(sides) != 2 or not all(sides):
        raise InputWrong(f"--offcut-min: two sides are wanted, such as 300x200; {text!r} is none such")
    return sides


def resolved(
    order_file: OrderFile, read: Callable[[Mapping[str, Any]], Any], look: Look | None = None
) -> Any:
    """Do something with the request, and tell what the contract refuses by line and column.

    `look` is asked besides when something is refused, so that one run tells everything.
    """
    try:
        return read(order_file.document)
    except WireError as error:
        told = {one.pointer for one in error.errors}
        more = look(order_file.document) if look is not None else ()
        errors = [*error.errors, *(one for one in more if one.pointer not in told)]
        raise order_file.wrong(errors) from error


def _from_json(path: Path) -> tuple[dict[str, Any], OrderFile]:
    found = read_json(path)
    if not isinstance(found, dict):
        raise InputWrong(f"{path}: a JSON object with order_ref, machine and parts is wanted")
    return found, OrderFile(path, found)


def _from_table(path: Path, read: Callable[[Path], Any]) -> OrderFile:
    table = read(path)
    columns, problems = columns_of(table.header)
    if problems:
        raise wrong_lines(path, problems)
    parts = []
    problems += points_for_thousands(table.rows, columns)
    for row in table.rows:
        part, wrong = part_of(row, columns)
        parts.append(part)
        problems += wrong
    lines = tuple(row.line for row in table.rows)
    named = {column.name: column for column in columns}
    return OrderFile(path, {"parts": parts}, lines, named, table.notes, tuple(problems))


def _with_others(order_file: OrderFile, look: Look | None) -> list[Problem | FieldError]:
    """What is wrong with the lines as they stand, and what the contract and `look` say besides."""
    from schemas.fields import units_of_request  # noqa: PLC0415 - used on this path only
    from schemas.orders import PartSchema  # noqa: PLC0415
    from schemas.problems import field_errors  # noqa: PLC0415

    with units_of_request("mm"):
        messages = PartSchema(many=True).validate(order_file.document["parts"])
    errors = [*field_errors(messages, "parts"), *(look(order_file.document) if look is not None else ())]
    found: list[Problem | FieldError] = list(order_file.problems)
    for one in order_file.placed(errors):
        known = {(other.line, other.column) for other in found if isinstance(other, Problem)}
        if isinstance(one, Problem) and (one.line, one.column) not in known:
            found.append(one)
    return found
