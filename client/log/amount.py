"""How many pieces of a step, or sheets of a layout, an entry tells of."""

from __future__ import annotations

from client.errors import InputWrong


def how_many(of: str, name: str, planned: int, done: int, told: int | None, again: bool) -> int:
    """The number that is logged.

    Parameters
    ----------
    of, name
        What it is of, as ``"step 3"``, and the word for one of them, as ``"piece"``.
    planned, done
        How many the plan has, and how many are logged.
    told
        How many the operator told; all that are left when None.
    again
        Allows more than the plan has.

    Raises
    ------
    InputWrong
        When more is told than is left, or less than one.

    >>> how_many("step 3", "piece", 4, 1, None, again=False)
    3
    >>> how_many("step 3", "piece", 4, 3, 2, again=False)
    Traceback (most recent call last):
    client.errors.InputWrong: step 3 has 4 pieces, of which 3 are logged: at most 1 is left; \
--again logs more than the plan has
    >>> how_many("layout 1", "sheet", 1, 1, None, again=False)
    Traceback (most recent call last):
    client.errors.InputWrong: layout 1: its only sheet is logged already; --again logs it once more
    """
    left = planned - done
    count = told if told is not None else (planned if again else left)
    if told is not None and told < 1:
        raise InputWrong(f"{name}s: {told} is not a number of 1 or more")
    if again:
        return count
    if left < 1:
        every = f"its only {name} is" if planned == 1 else f"all {planned} {name}s are"
        raise InputWrong(f"{of}: {every} logged already; --again logs it once more")
    if count > left:
        raise InputWrong(
            f"{of} has {planned} {name if planned == 1 else name + 's'}, of which {done or 'none'} "
            f"{_are(done or 1)} logged: at most {left} {_are(left)} left; "
            "--again logs more than the plan has"
        )
    return count


def _are(count: int) -> str:
    return "is" if count == 1 else "are"
