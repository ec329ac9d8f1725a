"""Asks the demo service over HTTP, and shows the answers; used by deploy/try.

Takes nothing but what a workstation has installed.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import requests

SHOWN_LINES = 45
"""Lines of the program that are shown; all of it is in the file."""


def get(url: str, token: str | None = None, **parameters: str) -> requests.Response:
    """GET, or stop with what the service says."""
    headers = {} if token is None else {"Authorization": f"Bearer {token}"}
    answer = requests.get(url, params=parameters, headers=headers, timeout=30)
    if not answer.ok:
        sys.exit(f"{url}: status {answer.status_code}: {answer.text}")
    return answer


def wait(server: str, seconds: str) -> None:
    """Wait until the service is ready."""
    ends = time.monotonic() + float(seconds)
    while True:
        try:
            print(f"ready: {get(f'{server}/v1/health/ready').json()}")
            return
        except requests.ConnectionError:
            if time.monotonic() > ends:
                sys.exit(f"{server} is not ready after {seconds} s")
            time.sleep(0.1)


def gone(server: str) -> None:
    """Make sure that the service does not answer."""
    try:
        requests.get(f"{server}/v1/health/live", timeout=5)
    except requests.ConnectionError as error:
        print(f"the health call fails, as it should: {type(error).__name__}")
        return
    sys.exit(f"{server} still answers")


def plan(server: str, token: str, order: str, folder: str) -> None:
    """Have an order planned; keep the plan, the program as text and a picture of each layout."""
    document = json.loads(Path(order).read_text(encoding="utf-8"))
    answer = requests.post(
        f"{server}/v1/plans", json=document, headers={"Authorization": f"Bearer {token}"}, timeout=120
    )
    if answer.status_code != 201:
        sys.exit(f"a new plan (201) was wanted, not {answer.status_code}: {answer.text}")
    made = answer.json()
    out = Path(folder)
    out.mkdir(parents=True, exist_ok=True)
    (out / "plan.json").write_text(json.dumps(made, indent=1) + "\n", encoding="utf-8")
    at = f"{server}/v1/plans/{made['id']}"
    program = get(f"{at}/program.txt", token)
    program.encoding = "utf-8"
    (out / "program.txt").write_text(program.text, encoding="utf-8")
    for layout in made["layouts"]:
        picture = get(f"{at}/drawing.svg", token, layout=str(layout["number"]))
        (out / f"layout-{layout['number']}.svg").write_bytes(picture.content)
    lines = program.text.splitlines()
    print("\n".join(lines[:SHOWN_LINES]))
    print(f"… and {len(lines) - SHOWN_LINES} lines more: {out / 'program.txt'}\n\nFigures:")
    for name, value in {**made["summary"], **{f"bound_{k}": v for k, v in made["bound"].items()}}.items():
        print(f"  {name:<20} {value:.4g}" if isinstance(value, float) else f"  {name:<20} {value}")
    for one in made["unplaced"]:
        print(f"  not planned          {one['quantity']} of {one['ref']}: {one['reason']}")


def report(server: str, token: str, name: str, by: str) -> None:
    """Show a report as a table; an empty one is a fault here."""
    found = get(f"{server}/v1/reports/{name}", token, by=by).json()
    rows: list[dict[str, Any]] = found["rows"]
    if not rows:
        sys.exit(f"the report {name} has no rows")
    if found["unapplied_events"]:
        sys.exit(f"{found['unapplied_events']} entries were not applied")
    head = list(rows[0])
    cells = [[_shown(row[column]) for column in head] for row in rows]
    widths = [max(len(line[place]) for line in [head, *cells]) for place in range(len(head))]
    print(f"{name} by {by}:")
    for line in [head, *cells]:
        print("  " + "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())


def _shown(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def reached(server: str, token: str, station: str, log: str) -> None:
    """Compare what the centre holds of a station with the station's own log: as many, and the same."""
    lines = Path(log).read_text(encoding="utf-8").splitlines()
    events = [json.loads(line)["event"] for line in lines[1:-1]]
    numbers = [event["seq"] for event in events]
    if numbers != list(range(1, len(events) + 1)):
        sys.exit(f"the log of {station} has a hole or a double: {numbers}")
    centre = get(f"{server}/v1/sync/stations/{station}", token).json()
    if (centre["has_to_seq"], centre["last_hash"]) != (len(events), events[-1]["hash"]):
        sys.exit(f"the centre has {centre['has_to_seq']} entries of {station}, the log {len(events)}")
    last = events[-1]["hash"][:12]
    print(f"station and centre both hold {len(events)} entries of {station}, ending in {last}")


def field(path: str, name: str) -> None:
    """Print one field of a JSON file."""
    print(json.loads(Path(path).read_text(encoding="utf-8"))[name])


def same(first: str, second: str) -> None:
    """Make sure that two plan documents are the same plan."""
    one, two = (json.loads(Path(path).read_text(encoding="utf-8")) for path in (first, second))
    print(f"  online   {one['fingerprint']}  ({one['summary']['strokes']} strokes)")
    print(f"  offline  {two['fingerprint']}  ({two['summary']['strokes']} strokes)")
    if one["fingerprint"] != two["fingerprint"]:
        sys.exit("the fingerprints differ: the two did not plan the same order")
    if one != two:
        parts = [name for name in one.keys() | two.keys() if one.get(name) != two.get(name)]
        sys.exit(f"the plans differ in {', '.join(sorted(parts))}")
    print("  the two plans are equal in every field")


def steps_of(path: str, layout: str) -> None:
    """Print the numbers of the steps of a layout."""
    program = json.loads(Path(path).read_text(encoding="utf-8"))["program"]
    print(*(step["step"] for step in program if step["layout"] == int(layout)))


ASKS: dict[str, Callable[..., None]] = {
    one.__name__: one for one in (wait, gone, plan, report, reached, field, same, steps_of)
}

if __name__ == "__main__":
    ASKS[sys.argv[1]](*sys.argv[2:])
