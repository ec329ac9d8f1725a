"""How many single cuts a core checks in a second, and what the endpoints add: medians and ratios.

Run from the checkout: ``python -m tests.benchmarks.checks`` (``--rounds 9`` for steadier figures). It
is no test: figures depend on the machine and on who else is working on it.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from schemas.records import MachineSchema
from service.app import Config, create_app
from service.engine.capacity import capacity
from service.engine.checks import check_cut
from service.engine.force import check_force
from service.engine.machine import Machine
from service.engine.materials_table import BUILT_IN
from service.engine.settings import settings_for
from service.store import tokens
from service.store.database import connected

PROFILE: dict[str, Any] = {
    "id": "bench-3m",
    "name": "Bench shear, 3 m",
    "cutting_length_mm": 3000,
    "rating": {"thickness_mm": 8},
    "force_limit_kn": 320,
    "rake": {"low_deg": 1, "high_deg": 2.5, "step_deg": 0.1},
    "gap": {"low_mm": 0.1, "high_mm": 1, "step_mm": 0.05},
    "back_gauge": {"low_mm": 5, "high_mm": 1000, "step_mm": 0.1},
    "hold_down": {
        "clamping_depth_mm": 45,
        "feet_first_mm": 75,
        "feet_pitch_mm": 190,
        "feet_count": 15,
        "foot_width_mm": 50,
        "force_kn": 90,
    },
    "sheet_support": True,
    "relief": True,
}
SHEARABLE = [material for material in BUILT_IN if material.shearable]
CUTS = [
    (SHEARABLE[i % len(SHEARABLE)], 50 + 37 * i % 750, 5_000 + 7_919 * i % 295_000, 1_000 + 613 * i % 99_000)
    for i in range(500)
]


def per_second(work: Callable[[], None], times: int, rounds: int) -> float:
    """Median over the rounds of how often `work`, which does `times` of it, goes into a second."""
    work()
    rates = []
    for _ in range(rounds):
        begin = time.perf_counter()
        work()
        rates.append(times / (time.perf_counter() - begin))
    return statistics.median(rates)


def engine_rates(machine: Machine, rounds: int) -> dict[str, float]:
    """Rates of the engine alone [1/s]."""

    def force_and_settings() -> None:
        for material, t, length, depth in CUTS:
            check = check_force(machine, material, t, length)
            settings_for(machine, material, t, cut_length=length, drop_depth=depth, force=check)

    def force_only() -> None:
        for material, t, length, _ in CUTS:
            check_force(machine, material, t, length)

    def whole_cut() -> None:
        for material, t, length, depth in CUTS:
            check_cut(machine, material, t, cut_length=length, drop_depth=depth, remainder_depth=50_000)

    def table() -> None:
        capacity(machine, SHEARABLE)

    return {
        "force and settings": per_second(force_and_settings, len(CUTS), rounds),
        "force only": per_second(force_only, len(CUTS), rounds),
        "every limit of a cut": per_second(whole_cut, len(CUTS), rounds),
        "rows of capacity": per_second(table, 4 * len(SHEARABLE), rounds),
    }


def endpoint_rates(folder: Path, rounds: int) -> dict[str, float]:
    """Rates through the application, without a network [1/s]."""
    app = create_app(Config(database=str(folder / "bench.sqlite3")))
    with connected():
        from datetime import UTC, datetime

        _, secret = tokens.make("bench", ["plan", "admin"], now=datetime.now(UTC))
    http = app.test_client()
    head = {"Authorization": f"Bearer {secret}"}
    made = http.post("/v1/machines", json=PROFILE, headers=head)
    if made.status_code not in {201, 409}:
        raise SystemExit(made.text)
    bodies = [
        {
            "machine": "bench-3m",
            "material": material.grade,
            "thickness": t / 100,
            "cut_length": length / 100,
            "drop_depth": depth / 100,
        }
        for material, t, length, depth in CUTS[:100]
    ]

    def asked(path: str) -> Callable[[], None]:
        def work() -> None:
            for body in bodies:
                answer = http.post(path, json=body, headers=head)
                # No settings are given for a cut that is stopped; the answer takes as long.
                if answer.status_code not in {200, 422} or "/problems/not-valid" in answer.text:
                    raise SystemExit(f"{path}: {answer.text}")

        return work

    return {
        path: per_second(asked(path), len(bodies), rounds) for path in ("/v1/checks/force", "/v1/settings")
    }


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--rounds", type=int, default=5)
    rounds = parser.parse_args().rounds
    machine: Machine = MachineSchema().load(PROFILE)
    engine = engine_rates(machine, rounds)
    with tempfile.TemporaryDirectory() as folder:
        edge = endpoint_rates(Path(folder), rounds)
    for what, rate in {**engine, **edge}.items():
        print(f"{what:24} {rate:10.0f} /s   {1e6 / rate:8.0f} µs")
    both = engine["force and settings"]
    for path, rate in edge.items():
        print(f"{path:24} adds {1e6 / rate - 1e6 / both:8.0f} µs, {both / rate:.1f} times force and settings")


if __name__ == "__main__":
    main()
