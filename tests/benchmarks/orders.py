"""What planning an order takes on a real shear: ``python -m tests.benchmarks.orders [--help]``.

Orders are drawn from a fixed rule, so every run plans the same ones: the typical order (30 kinds, about
400 pieces, three sheet sizes, 20 offcuts on the rack), the same kinds in ten and a hundred times the
number, and a big order of 300 kinds and 10 000 pieces. Times are processor seconds of the planner, the
median of the rounds; every plan goes through the verifier. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import sys
import time
from collections.abc import Sequence

from schemas.records import MachineSchema
from service.engine.machine import Machine
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.planner import plan
from tests.benchmarks.checks import PROFILE
from tests.benchmarks.layouts import check

SHEETS = ((2000, 1000, 35.0), (2500, 1250, 54.0), (3000, 1500, 78.0))


def machine() -> Machine:
    """The shear of the force benchmark, with stops in front for what is held by hand."""
    profile = PROFILE | {
        "lifting": {"crane_kg": 2000},
        "front_stops": {"low_mm": 20, "high_mm": 2500, "accuracy_mm": 0.3},
    }
    loaded: Machine = MachineSchema().load(profile)
    return loaded


def order(
    kinds: int, pieces: int, offcuts: int = 20, effort: str = "standard", objective: str = "material"
) -> Order:
    """An order of so many kinds and about so many pieces, always the same one."""
    each = max(pieces // kinds, 1)
    parts = tuple(
        Part(
            f"P{i + 1}",
            (90 + 7919 * (i + 1) % 811) * 100,
            (60 + 104729 * (i + 1) % 397) * 100,
            max(1, each // 2 + 31 * i % (each + 1)),
            "S235JR",
            200,
            "along" if i % 5 == 0 else "any",
        )
        for i in range(kinds)
    )
    stock = [
        StockItem(f"SHEET-{i + 1}", length * 100, width * 100, 100_000, "S235JR", 200, price=price)
        for i, (length, width, price) in enumerate(SHEETS)
    ]
    stock += [
        StockItem(
            f"OFFCUT-{i + 1}",
            (350 + 6151 * (i + 1) % 900) * 100,
            (150 + 3571 * (i + 1) % 600) * 100,
            1,
            "S235JR",
            200,
            kind="offcut",
            price=0.0,
            edges="cut",
            oversize=50,
        )
        for i in range(offcuts)
    ]
    options = Options(effort=effort, objective=objective)  # type: ignore[arg-type]
    return Order(f"{kinds}-{pieces}", machine(), (material_named("S235JR"),), parts, tuple(stock), options)


ORDERS = {
    "typical": (30, 400),
    "typical x10": (30, 4_000),
    "typical x100": (30, 40_000),
    "big": (300, 10_000),
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Plan the orders asked for; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.orders", description=__doc__)
    parser.add_argument("names", nargs="*", choices=[*ORDERS, []], help="which orders; all of them if none")
    parser.add_argument("--effort", nargs="+", default=["quick", "standard"])
    parser.add_argument("--objective", default="material")
    parser.add_argument("--rounds", type=int, default=1)
    given = parser.parse_args(arguments)
    told: dict[str, object] = {}
    for name in given.names or ORDERS:
        for effort in given.effort:
            one = order(*ORDERS[name], effort=effort, objective=given.objective)
            times = []
            for _ in range(given.rounds):
                start = time.process_time()
                found = plan(one)
                times.append(time.process_time() - start)
            check(found, one)
            pieces = sum(part.quantity for part in one.parts)
            seconds = statistics.median(times)
            gap = found.bound.gap_share
            print(
                f"{name:<13} {len(one.parts):>4} kinds {pieces:>6} pieces  {effort:<9} "
                f"sheets {found.summary.sheets:>5}  cost {found.summary.material_cost:>10}  "
                f"over bound {100 * gap:5.2f}%  {seconds:7.2f} s",
                flush=True,
            )
            told[f"{name}, {effort}"] = round(seconds, 2)
    told["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(json.dumps(told))
    return 0


if __name__ == "__main__":
    sys.exit(main())
