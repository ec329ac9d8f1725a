"""What a Python user would otherwise do with an instance: two general-purpose libraries, side by side.

* The guillotine packers of ``rectpack``: all of its choices of free rectangle and of split, each with
  several orders of the pieces; the fewest sheets of all these runs count.
* A model for the CP-SAT solver of OR-Tools, with the seconds that the planner took and every core. The
  model is the plain one for guillotine cuts: pieces stand on shelves that go right across the sheet, a
  shelf is as deep as the piece that begins it, and shelves are stacked on sheets (Lodi, Martello and
  Vigo, Journal of Combinatorial Optimization 8, 2004). Both directions of shelves are tried, half of the
  time each.

Both come with the extra ``peers`` of the package; nothing else asks for them.
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from itertools import product
from typing import Any, Final

Size = tuple[int, int]

_CHOICES: Final = ("Baf", "Blsf", "Bssf")
_SPLITS: Final = ("Sas", "Las", "Slas", "Llas", "Maxas", "Minas")
_ORDERS: Final = ("SORT_AREA", "SORT_PERI", "SORT_SSIDE", "SORT_LSIDE")
_MOST_PAIRS: Final = 3_000_000
"""Pairs of pieces beyond which the model would not even be built in the time."""


@dataclass(frozen=True, slots=True)
class Peers:
    """Fewest sheets of each library; None where it found no layout in its time."""

    rectpack: int | None
    runs: int
    cp_sat: int | None


def versions() -> str:
    """The releases that are compared with."""
    return ", ".join(f"{name} {version(name)}" for name in ("rectpack", "ortools"))


def compare(sheet: Size, pieces: Sequence[Size], rotate: bool, seconds: float, most: float) -> Peers:
    """Lay out `pieces` on as few sheets as each library finds.

    Parameters
    ----------
    sheet, pieces
        Lengths and widths; each piece is listed by itself.
    rotate
        Whether pieces may be turned.
    seconds
        What the solver is given.
    most
        Seconds after which no further run of the packers is begun.
    """
    found, runs = packed(sheet, pieces, rotate, most)
    turned = [(b, a) for a, b in pieces]
    half = max(seconds / 2, 0.5)
    both = [
        shelved(sheet, pieces, rotate, half),
        shelved((sheet[1], sheet[0]), turned, rotate, half),
    ]
    return Peers(found, runs, min((one for one in both if one is not None), default=None))


def packed(sheet: Size, pieces: Sequence[Size], rotate: bool, most: float) -> tuple[int | None, int]:
    """Fewest sheets of the guillotine packers over their choices, splits and orders, and how many runs."""
    import rectpack

    best: int | None = None
    runs = 0
    end = time.monotonic() + most
    for order, choice, split in product(_ORDERS, _CHOICES, _SPLITS):
        if runs and time.monotonic() > end:
            break
        packer = rectpack.newPacker(
            mode=rectpack.PackingMode.Offline,
            bin_algo=rectpack.PackingBin.BFF,
            pack_algo=getattr(rectpack, f"Guillotine{choice}{split}"),
            sort_algo=getattr(rectpack, order),
            rotation=rotate,
        )
        packer.add_bin(*sheet, count=float("inf"))
        for length, width in pieces:
            packer.add_rect(length, width)
        packer.pack()
        runs += 1
        if len(packer.rect_list()) == len(pieces):
            best = len(packer) if best is None else min(best, len(packer))
    return best, runs


def shelved(sheet: Size, pieces: Sequence[Size], rotate: bool, seconds: float) -> int | None:
    """Fewest sheets of the shelf model, None when the solver has no layout after so many seconds."""
    from ortools.sat.python import cp_model

    whole, high = sheet
    lying: list[tuple[int, int, int]] = []  # depth, width, piece
    for piece, (a, b) in enumerate(pieces):
        lying += [
            (d, w, piece) for w, d in {(a, b), *([(b, a)] if rotate else [])} if w <= whole and d <= high
        ]
    lying.sort(reverse=True)
    if len(lying) ** 2 > _MOST_PAIRS:
        return None
    model: Any = cp_model.CpModel()
    begins = [model.new_bool_var("") for _ in lying]  # a shelf
    opens = [model.new_bool_var("") for _ in lying]  # a sheet, with its shelf
    stands: list[list[Any]] = [[] for _ in pieces]
    stacked: list[list[Any]] = [[one] for one in opens]
    for place, (depth, width, piece) in enumerate(lying):
        stands[piece].append(begins[place])
        beside: list[Any] = []
        above: list[Any] = []
        for other in range(place + 1, len(lying)):
            next_depth, next_width, next_piece = lying[other]
            if width + next_width <= whole and next_piece != piece:
                joins = model.new_bool_var("")
                stands[next_piece].append(joins)
                beside.append(next_width * joins)
            if depth + next_depth <= high:
                joins = model.new_bool_var("")
                stacked[other].append(joins)
                above.append(next_depth * joins)
        model.add(sum(beside) <= (whole - width) * begins[place])
        model.add(sum(above) <= (high - depth) * opens[place])
    for one in stands:
        model.add_exactly_one(one)
    for begin, on in zip(begins, stacked, strict=True):
        model.add(sum(on) == begin)
    model.minimize(sum(opens))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = os.cpu_count() or 1
    if solver.solve(model) not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return None
    return round(solver.objective_value)
