"""What pieces are called: ``2`` is the sheet of layout 2, ``2a``, ``2b`` … are cut from it.

When equal sheets are cut one after another, the second of them is ``2.2`` and gives ``2.2a`` and so on.
"""

from __future__ import annotations


def sheet_name(layout: int, sheet: int | None = None) -> str:
    """Name of the sheets of a layout, or of one of them when they are cut singly.

    >>> sheet_name(2), sheet_name(2, 1)
    ('2', '2.1')
    """
    return str(layout) if sheet is None else f"{layout}.{sheet}"


def is_sheet(name: str) -> bool:
    """Whether the name is that of a sheet from the rack, and not of a piece cut from one.

    >>> is_sheet("2.1"), is_sheet("2a")
    (True, False)
    """
    return name[-1:].isdigit()


def letters(count: int) -> str:
    """Letters of the piece number `count` of a sheet, from 0.

    >>> letters(0), letters(25), letters(26), letters(702)
    ('a', 'z', 'aa', 'aaa')
    """
    text = ""
    count += 1
    while count:
        count, place = divmod(count - 1, 26)
        text = chr(ord("a") + place) + text
    return text
