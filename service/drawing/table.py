"""Rows as CSV that a spreadsheet opens and does not run."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

_ARMED = ("=", "+", "-", "@", "\t", "\r")
"""How text begins that a spreadsheet would take for a formula; a ref of an order may begin so."""


def csv_text(rows: Iterable[Iterable[object]]) -> str:
    r"""Rows as CSV by RFC 4180; text that would be run as a formula gets a leading apostrophe.

    >>> csv_text([["ref", "mm"], ["=1+1", -0.5]])
    "ref,mm\r\n'=1+1,-0.5\r\n"
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    for row in rows:
        writer.writerow([_unarmed(cell) for cell in row])
    return out.getvalue()


def _unarmed(cell: object) -> object:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_ARMED) else cell
