"""Planning at the workstation with the engine of the service, without the network."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

from client.cache.outbox import utc_text
from client.cache.plans import keep_plan, plan_id_of
from client.errors import CentreAway, CentreRefuses, StoreFailed
from client.home import write_whole
from client.wire import Patience, Wire, retrying
from client.workstation import Workstation
from schemas.orders import read_order
from schemas.plans import read_plan, write_plan
from schemas.problems import FieldError, WireError
from service.engine.fingerprint import canonical_json, id_of
from service.engine.order import Order
from service.engine.plan import CutPlan

if TYPE_CHECKING:
    from service.engine.choose import Progress

_JOB_PAUSE_S: Final = 1.0


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan with its id and the order that it answers; `others` are the other plans of a comparison."""

    id: str
    plan: CutPlan
    order: Order
    others: tuple[KeptPlan, ...] = ()

    @property
    def document(self) -> dict[str, Any]:
        """As it is sent and kept."""
        return write_plan(self.plan, self.order, self.id)


def order_here(station: Workstation, document: Mapping[str, Any]) -> Order:
    """Resolve a plan request against what is cached here.

    Raises
    ------
    WireError
        When the request does not keep the contract.
    """
    return read_order(
        document,
        machine_named=station.records.machine,
        own_materials=station.records.materials(),
        stock_at=station.rack_of,
    )


def plan_here(
    station: Workstation,
    document: Mapping[str, Any],
    progress: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> KeptPlan:
    """Plan without the network, and keep the plan; of a comparison, all of its plans.

    Parameters
    ----------
    station, document
        Whose records are used, and the request.
    progress, stop
        As in :func:`service.engine.planner.plan`.

    Raises
    ------
    WireError
        When the request does not keep the contract.
    """
    # The solver takes a moment to load, and no other command needs it.
    from service.engine.planner import no_such_plan, picked, plans  # noqa: PLC0415

    order = order_here(station, document)
    made = plans(order, progress, stop)
    if order.options.pick >= len(made):
        raise WireError([FieldError("/options/pick", no_such_plan(order.options.pick, len(made)))])
    kept = [_kept(station, one, picked(order, pick)) for pick, one in enumerate(made)]
    return replace(kept[order.options.pick], others=tuple(kept[1:]) if order.options.pick == 0 else ())


def plan_there(station: Workstation, wire: Wire, document: Mapping[str, Any], patience: Patience) -> KeptPlan:
    """Have the service plan, and keep the plan here.

    Raises
    ------
    CentreAway, CentreRefuses
        As the service answers.
    WireError
        When it finds fields of the request wrong.
    """
    try:
        answer = retrying(lambda: wire.post("/v1/plans", document), patience)
    except CentreRefuses as refusal:
        raise (_refused_fields(refusal) or refusal) from refusal
    found = answer.document
    while answer.status == 202 or "fingerprint" not in found:
        job = str(found.get("id", ""))
        state = str(found.get("state", found.get("status", "")))
        if state == "failed":
            raise CentreRefuses(f"the service could not make the plan: {found.get('problem') or state}", 422)
        if isinstance(found.get("result"), Mapping) or isinstance(found.get("plan"), Mapping):
            found = cast("dict[str, Any]", found.get("result") or found["plan"])
            break
        if isinstance(found.get("plan_id"), str):
            plan_id = found["plan_id"]
            found = retrying(lambda plan_id=plan_id: wire.get(f"/v1/plans/{plan_id}"), patience).document  # type: ignore[misc]
            break
        if not job or patience.over:
            raise CentreAway("the service has not finished the plan; ask for it again later")
        time.sleep(_JOB_PAUSE_S)
        answer = retrying(lambda job=job: wire.get(f"/v1/jobs/{job}"), patience)  # type: ignore[misc]
        found = answer.document
    kept = _understood(station, found)
    others = []
    for one in kept.plan.alternatives:
        place = f"/v1/plans/{plan_id_of(one.fingerprint)}"
        others.append(
            _understood(station, retrying(lambda place=place: wire.get(place), patience).document)  # type: ignore[misc]
        )
    return replace(kept, others=tuple(others))


def _understood(station: Workstation, found: Mapping[str, Any]) -> KeptPlan:
    try:
        plan, order = read_plan(found)
    except WireError as error:
        raise CentreAway(f"the plan from the service is not understood here: {error}") from error
    return _kept(station, plan, order)


def _refused_fields(refusal: CentreRefuses) -> WireError | None:
    """What the service finds wrong with the request, as our own reading of it would say."""
    errors = refusal.problem.get("errors")
    if refusal.status not in {400, 422} or not isinstance(errors, list) or not errors:
        return None
    return WireError(
        [
            FieldError(str(error.get("pointer", "")), str(error.get("message", "")))
            for error in errors
            if isinstance(error, dict)
        ]
    )


def _kept(station: Workstation, plan: CutPlan, order: Order) -> KeptPlan:
    kept = KeptPlan(id_of(plan), plan, order)
    with station.home.writing():
        keep_plan(station.outbox.sql, kept.id, kept.document, utc_text(station.outbox.now()))
    return kept


def write_papers(kept: KeptPlan, folder: Path) -> list[Path]:
    """Write what is printed from a plan: plan.json, program.txt, program.csv and a map of each sheet.

    Raises
    ------
    StoreFailed
        When the folder cannot be written.
    """
    from service.drawing.svg import layout_svg  # noqa: PLC0415 - as above
    from service.drawing.text import program_text  # noqa: PLC0415

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreFailed(f"cannot make the folder {folder}: {error.strerror}") from error
    papers: dict[str, bytes] = {
        "plan.json": canonical_json(kept.document) + b"\n",
        "program.txt": program_text(kept.plan, kept.order, named=kept.id).encode("utf-8"),
        "program.csv": program_csv(kept.plan),
    }
    for layout in kept.plan.layouts:
        picture = layout_svg(kept.plan, kept.order, layout.number, named=kept.id)
        papers[f"layout-{layout.number}.svg"] = picture.encode()
    written = []
    for name, data in papers.items():
        write_whole(folder / name, data)
        written.append(folder / name)
    return written


def program_csv(plan: CutPlan) -> bytes:
    """The cut program as a table: UTF-8 with a byte-order mark, commas, lengths in mm."""
    from service.drawing.table import csv_text  # noqa: PLC0415 - as above
    from service.drawing.text import ROW_HEAD, program_rows  # noqa: PLC0415

    return ("\ufeff" + csv_text([ROW_HEAD, *program_rows(plan)])).encode("utf-8")
