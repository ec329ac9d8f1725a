"""What people at a bench write down in a story: every choice comes from the chance of its world."""

from __future__ import annotations

import random
from typing import Any, Final

from client.cache.stock import StockChange
from client.log.batch import Batch
from tests.faults.reckoning import EDGES, OFFCUTS, PIECES, PLANS, SHEETS

_LENGTHS: Final = (900, 900, 900, 800)
"""Lengths of offcuts: now and then another size gets the name of one that is used up, or is not."""


def draft(chance: random.Random, drafts: Batch) -> None:
    """Add an entry."""
    common = {
        "machine": chance.choice(["bench-3m"] * 6 + ["bench-4m"]),
        "material": "S235JR",
        "thickness_mm": 3,
    }
    size = {"length_mm": 600, "width_mm": 300, "quantity": chance.randrange(1, 5)}
    mass = round(4.239 * size["quantity"], 4)
    chance.choice(_KINDS)(chance, drafts, common, size, mass)


def _cut(chance: random.Random, drafts: Batch, common: Any, size: Any, mass: float) -> None:
    part = {"ref": "P1", **size, "mass_kg": mass}
    metres = chance.randrange(1, 10_000) / 1000
    cut = {"cut_length_mm": 300, "strokes": 4, "equivalent_m": metres, "parts": [part]}
    drafts.add("cuts.made", {**common, **cut, **_edge(chance), **_step(chance)})


def _edge(chance: random.Random) -> dict[str, Any]:
    """The edge that a cut was made with, where it is said; else it is the one at work."""
    return {} if chance.random() < 0.7 else {"blade_edge": chance.randrange(1, EDGES + 1)}


def _step(chance: random.Random) -> dict[str, Any]:
    """The step that a cut is of, if any: few steps and many benches, so that some are cut twice."""
    if chance.random() < 0.3:
        return {}
    # The first step has the fewest pieces, and is soon cut more than planned.
    step = chance.choice([1, 1, 2, 3, 4])
    pieces = chance.randrange(1, 4)
    plan_id = chance.choice(PLANS)
    return {"plan_id": plan_id, "step": step, "pieces": pieces, "step_pieces": PIECES * step}


def _turn(chance: random.Random, drafts: Batch, common: Any, _size: Any, _mass: float) -> None:
    work = chance.choice(["turned", "turned", "turned", "reground", "replaced"])
    edge = chance.randrange(1, EDGES + 1)
    drafts.add("blade.turned", {"machine": common["machine"], "edge": edge, "work": work})


def _sheet(chance: random.Random, drafts: Batch, common: Any, size: Any, mass: float) -> None:
    change = StockChange("SH-A", -size["quantity"])
    # Now and then it is not the sheet that the record tells of.
    size |= {"length_mm": chance.choice([2500, 2500, 2500, 2440]), "width_mm": 1250}
    drafts.add("stock.taken", {**common, **size, "ref": "SH-A", "mass_kg": mass}, change)


def _offcut(chance: random.Random, drafts: Batch, common: Any, _size: Any, _mass: float) -> None:
    """Stored, or taken, be it that there are not so many; the names are few, and used again."""
    offcut = {
        **common,
        "ref": chance.choice(OFFCUTS),
        "length_mm": chance.choice(_LENGTHS),
        "width_mm": 500,
        "quantity": chance.randrange(1, 3),
        "mass_kg": 10.6,
    }
    drafts.add(chance.choice(["offcut.stored", "stock.taken"]), offcut)


def _whole(chance: random.Random, drafts: Batch, common: Any, size: Any, mass: float) -> None:
    sheets = chance.randrange(1, 4)
    part = {"ref": "P9", **size, "quantity": sheets, "mass_kg": mass}
    layout = {"plan_id": chance.choice(PLANS), "layout": 1, "sheets": sheets, "layout_sheets": SHEETS}
    drafts.add("parts.taken", {**common, "parts": [part], **layout})


def _scrap(_chance: random.Random, drafts: Batch, common: Any, size: Any, mass: float) -> None:
    drafts.add("scrap.made", {**common, **size, "mass_kg": mass, "reason": "twisted"})


def _gauge(_chance: random.Random, drafts: Batch, common: Any, _size: Any, _mass: float) -> None:
    measured = {"machine": common["machine"], "gauge_mm": 300.0, "measured_mm": 300.1}
    drafts.add("gauge.measured", measured)


_KINDS: Final = (_cut, _cut, _turn, _sheet, _offcut, _whole, _scrap, _gauge)
