"""Layouts against published instances: ``python -m tests.benchmarks.layouts FILE… [--help]``.

Every instance goes through the planner as an order on an ideal shear (no clamping depth, gauge limits
or trims), and every plan through the verifier. A row for each instance is printed as soon as it is
known; the last line is one JSON object. Times are processor seconds of the planner alone.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from schemas.plans import write_plan
from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.plan import CutPlan
from service.engine.planner import plan
from service.engine.verifier import verify
from tests.benchmarks.peers import Peers, compare, versions

MANY = 1_000_000
ANY_STAGES = 60

IDEAL = Machine(
    id="ideal",
    name="Ideal shear",
    cutting_length=10**7,
    rating=Rating(600),
    rake=Rake(1.0, 2.0),
    gap=GapRange(1, 100),
    back_gauge=BackGauge(1, 10**7, accuracy=0),
    hold_down=HoldDown(0),
    front_stops=FrontStops(1, 10**7, 0),
    lifting=Lifting(crane_kg=1e6),
    sheet_support=True,
)


@dataclass(frozen=True, slots=True)
class Item:
    """A part of an instance: `count` is the demand or, where values are given, the most copies."""

    length: int
    width: int
    count: int
    value: float | None


@dataclass(frozen=True, slots=True)
class Instance:
    """One instance. `known` is the best value known, `floor` what is proven for it; None: not published."""

    name: str
    single: bool
    sheet: tuple[int, int]
    items: tuple[Item, ...]
    known: int | None
    floor: int | None


@dataclass(frozen=True, slots=True)
class Row:
    """What came out: sheets, or the value cut from one sheet; and the own bound on it."""

    instance: Instance
    got: int
    bound: int
    seconds: float
    cut_short: bool
    peers: Peers | None = None


def read(path: Path, rotate: bool) -> Iterator[Instance]:
    """The instances of a file; which problem it is shows in the fields of its items."""
    for entry in json.loads(path.read_text(encoding="utf-8"))["instances"]:
        sheet = entry["sheets"][0]
        single = any("value" in item for item in entry["items"])
        area = sheet["length"] * sheet["width"]
        items = tuple(
            Item(
                item["l"],
                item["w"],
                item.get("demand") or item.get("max_copies") or max(1, area // (item["l"] * item["w"])),
                item.get("value"),
            )
            for item in entry["items"]
        )
        known, floor = published(entry.get("known", []), single, rotate)
        yield Instance(entry["name"], single, (sheet["length"], sheet["width"]), items, known, floor)


def published(known: Sequence[dict[str, Any]], single: bool, rotate: bool) -> tuple[int | None, int | None]:
    """The best value known and the bound known for free guillotine cutting, from the words beside them."""
    best: list[int] = []
    floors: list[int] = []
    for entry in known:
        words, value = entry["meaning"].lower(), entry["value"]
        turned = (
            "with rotation" in words
            or "with 90" in words
            or "rotation" in words.replace("no rotation", "").replace("without rotation", "")
        )
        if "area lower bound" in words:
            floors.append(value)
        elif "bracket" in words:
            if ("|r|g" in words) == rotate:
                best.append(value["upper"])
                floors.append(value["lower"])
        elif "gilmore-gomory" in words:
            if "unlimited-stage" in words and turned == rotate:
                floors.append(value["ceil"])
        elif (
            not isinstance(value, int)
            or "2bp" in words
            or "at most once" in words
            or "feasible" in words
            or "2-staged" in words
            or "2-stage" in words
            or "cutting stock use" in words
        ):
            continue
        elif single:
            if words.startswith("optimal value") and turned == rotate:
                best.append(value)
                floors.append(value)
        elif turned == rotate and ("optimal number" in words or "best known number" in words):
            best.append(value)
            if words.startswith("optimal number"):
                floors.append(value)
    if single:
        return (max(best), max(floors)) if best else (None, None)
    return min(best, default=None), max(floors, default=None)


def order_for(instance: Instance, effort: str, rotate: bool, stages: int) -> Order:
    """The instance as an order: a unit of the instance is a millimetre, of steel 1 mm thick."""
    parts = tuple(
        Part(
            f"P{i + 1}",
            item.length * 100,
            item.width * 100,
            item.count,
            "S235JR",
            100,
            "any" if rotate else "along",
            **({"value": item.value} if instance.single else {}),  # type: ignore[arg-type]
        )
        for i, item in enumerate(instance.items)
    )
    length, width = instance.sheet
    sheets = 1 if instance.single else MANY
    stock = StockItem("S", length * 100, width * 100, sheets, "S235JR", 100, edges="cut", oversize=0)
    options = Options(effort=effort, max_stages=stages, trim=0)  # type: ignore[arg-type]
    if instance.single:
        options = replace(options, objective="value")  # type: ignore[arg-type]
    return Order(instance.name, IDEAL, (material_named("S235JR"),), parts, (stock,), options)


def check(found: CutPlan, order: Order) -> None:
    """Replay the plan with the verifier; SystemExit with its complaints when there are any."""
    verdict = verify(json.loads(json.dumps(write_plan(found, order))))
    if not verdict.ok:
        told = "\n".join(f"{fault.code} {fault.where}: {fault.message}" for fault in verdict.faults[:5])
        raise SystemExit(f"{order.order_ref}: the plan does not pass the replay\n{told}")


def run(instance: Instance, effort: str, rotate: bool, stages: int) -> Row:
    """Plan one instance, replay the plan, and take its figures."""
    order = order_for(instance, effort, rotate, stages)
    start = time.process_time()
    found = plan(order)
    seconds = time.process_time() - start
    check(found, order)
    if instance.single:
        left = {one.ref: one.quantity for one in found.unplaced}
        got = sum((p.quantity - left.get(p.ref, 0)) * (p.value or 0) for p in order.parts)
        bound = found.bound.value
        assert bound is not None
        return Row(instance, int(got), int(Fraction(str(bound))), seconds, found.stopped_early)
    if found.unplaced:
        raise SystemExit(
            f"{instance.name}: {found.unplaced[0].ref} is not placed: {found.unplaced[0].reason}"
        )
    used = found.summary.sheets + found.summary.offcuts_used
    return Row(instance, used, found.bound.pieces, seconds, found.stopped_early)


def shown(row: Row) -> str:
    """One line of the table."""

    def cell(value: int | None) -> str:
        return "-" if value is None else str(value)

    one = row.instance
    over = abs(row.got - row.bound)
    theirs = ""
    if row.peers is not None:
        theirs = f"  rectpack {cell(row.peers.rectpack):>5} ({row.peers.runs} runs)"
        theirs += f"  CP-SAT {cell(row.peers.cp_sat):>5}"
    return (
        f"{one.name:<18} {len(one.items):>4} kinds  {'value' if one.single else 'sheets'} {row.got:>8}  "
        f"bound {row.bound:>8}  over {over:>3}  known {cell(one.known):>8}  floor {cell(one.floor):>8}  "
        f"{row.seconds:7.2f} s{theirs}{'  cut short' if row.cut_short else ''}"
    )


def totals(rows: Sequence[Row]) -> dict[str, object]:
    """The last line: sums, and how often and how far the own bound was missed."""
    overs = [abs(row.got - row.bound) for row in rows]
    compared = [row for row in rows if row.instance.known is not None]
    sign = [(-1 if r.instance.single else 1) * (r.got - (r.instance.known or 0)) for r in compared]
    return {
        "instances": len(rows),
        "sheets": sum(row.got for row in rows),
        "bound": sum(row.bound for row in rows),
        "known": sum(row.instance.known or 0 for row in compared),
        "sheets_where_known": sum(row.got for row in compared),
        "worse_than_known": sum(1 for d in sign if d > 0),
        "better_than_known": sum(1 for d in sign if d < 0),
        "worst_over_bound": max(overs, default=0),
        "at_bound": sum(1 for over in overs if over == 0),
        "seconds": round(sum(row.seconds for row in rows), 2),
        "slowest_s": round(max((row.seconds for row in rows), default=0.0), 2),
    }


def beside(rows: Sequence[Row]) -> dict[str, object]:
    """How the libraries did on the same instances; a library that found nothing there is left out."""
    told: dict[str, object] = {"peers": versions()}
    for name in ("rectpack", "cp_sat"):
        pairs = [
            (row.got, sheets)
            for row in rows
            if row.peers is not None and (sheets := getattr(row.peers, name)) is not None
        ]
        told[name] = {
            "instances": len(pairs),
            "sheets": sum(theirs for _, theirs in pairs),
            "ours": sum(ours for ours, _ in pairs),
            "fewer_here": sum(1 for ours, theirs in pairs if ours < theirs),
            "fewer_there": sum(1 for ours, theirs in pairs if ours > theirs),
        }
    return told


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the files given; returns 0."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.layouts", description=__doc__)
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    parser.add_argument("--effort", choices=("quick", "standard", "thorough"), default="standard")
    parser.add_argument("--rotate", choices=("yes", "no"), default="no")
    parser.add_argument(
        "--stages", default="any", help="how many stages of cuts at most (a trim is one too), or any"
    )
    parser.add_argument("--limit", type=int, help="only so many instances of each file, evenly spread")
    parser.add_argument("--only", help="only instances whose name contains this")
    parser.add_argument(
        "--peers", action="store_true", help="rectpack and OR-Tools beside it (see tests/benchmarks/peers.py)"
    )
    parser.add_argument(
        "--peer-seconds", type=float, default=60.0, help="after which no further packer is tried"
    )
    given = parser.parse_args(arguments)
    stages = ANY_STAGES if given.stages == "any" else int(given.stages)
    rotate = given.rotate == "yes"
    rows: list[Row] = []
    for path in given.files:
        print(f"# {path.name}: {given.effort}, rotation {given.rotate}, stages {given.stages}", flush=True)
        entries = [one for one in read(path, rotate) if not given.only or given.only in one.name]
        if given.limit and given.limit < len(entries):
            entries = [entries[i * len(entries) // given.limit] for i in range(given.limit)]
        for instance in entries:
            row = run(instance, given.effort, rotate, stages)
            if given.peers and not instance.single:
                pieces = [(item.length, item.width) for item in instance.items for _ in range(item.count)]
                peers = compare(instance.sheet, pieces, rotate, row.seconds, given.peer_seconds)
                row = replace(row, peers=peers)
            rows.append(row)
            print(shown(row), flush=True)
    told = totals(rows)
    if given.peers:
        told |= beside(rows)
    print(json.dumps(told), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
