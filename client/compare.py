"""How a plan comes along, and a comparison of plans, as lines for people."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Final

from client.planning import KeptPlan
from client.show import table
from schemas.plans import plan_id
from service.drawing.words import counted, stock_text
from service.engine.objectives import MOVE_POINTS, TURN_POINTS
from service.engine.order import Objective
from service.engine.plan import Summary

if TYPE_CHECKING:
    from service.engine.choose import Progress

QUIET_S: Final = 1.5
"""Planning that takes no longer says nothing of how it comes along."""
_EVERY_S: Final = 2.0
_HEADS: Final = (
    "pick",
    "plan",
    "sheets",
    "offcuts",
    "material",
    "kept offcuts",
    "scrap",
    "minutes",
    "handling",
    "is best at",
    "how",
)


_WHY: Final = (
    f"handling counts {MOVE_POINTS} for each gauge setting, {TURN_POINTS} for each step with a turn, 1 for "
    "each stroke and each gauge value",
    "listed is what no other plan beats in material, minutes and handling, each better than those above by",
    "a hundredth or more in one of them; recommended is the plan of least material, of such the one with the",
    "fewest sheets, then with most kept as offcuts, then with the least handling times minutes: a tenth less",
    "of one for a tenth more of the other (objective material may keep more, for more minutes and handling)",
)
"""What the column of handling counts, what is listed, and why the recommended plan is it."""


def comparison_lines(kept: KeptPlan) -> Iterator[str]:
    """The plans of a comparison, one a line, the recommended one first; nothing when it has no others.

    Of one that is not the recommended one, where all of them are told.
    """
    from service.engine.fingerprint import fingerprint  # noqa: PLC0415 - the engine loads when it is used
    from service.engine.objectives import handling_of  # noqa: PLC0415
    from service.engine.planner import picked  # noqa: PLC0415

    plan, options = kept.plan, kept.order.options
    if plan.cut_short and not kept.others:
        # Such plans go by what is in them, and not by their order: one does not know the ids of the others.
        return
    if options.objective == "compare" and options.pick:
        first = plan_id(fingerprint(picked(kept.order, 0)))
        yield f"pick {options.pick} of a comparison of plans; shearwright show {first} lists all of them"
        return
    if not plan.alternatives:
        return
    ids = [one.id for one in kept.others] or [plan_id(one.fingerprint) for one in plan.alternatives]
    points = handling_of(plan.program).points
    rows = [_row(0, kept.id, plan.summary, points, _best(plan.best_at), "recommended")]
    for one, name in zip(plan.alternatives, ids, strict=True):
        rows.append(_row(one.pick, name, one.summary, one.handling, _best(one.best_at), one.how))
    yield from table(_HEADS, rows)
    yield "each is kept under its id"
    yield from _WHY


def _best(best_at: Sequence[Objective]) -> str:
    """By what no other plan is better, in words."""
    return f"least {', '.join(best_at)}" if best_at else "in between"


def _row(pick: int, plan_id: str, summary: Summary, handling: int, best: str, how: str) -> tuple[str, ...]:
    money = summary.material_cost
    material = f"{summary.stock_area_mm2 / 1e6:.2f} m²" if money is None else f"{money:.2f}"
    taken = (str(summary.sheets), str(summary.offcuts_used))
    rest = (f"{summary.offcut_area_mm2 / 1e6:.2f} m²", f"{summary.scrap_kg:.1f} kg")
    return (str(pick), plan_id, *taken, material, *rest, f"{summary.minutes:.1f}", str(handling), best, how)


def _so_far(now: Progress) -> str:
    """The best so far: what was planned already, and what the search that goes on has come to."""
    best, search = now.best, now.under_way
    if search is None:
        if best is None:
            return ""
        return f"; best so far {stock_text(best.sheets, best.pieces - best.sheets)}, {best.minutes:.0f} min"
    sheets = search.sheets + (best.sheets if best else 0)
    offcuts = search.offcuts + (best.pieces - best.sheets if best else 0)
    text = f"; best so far {stock_text(sheets, offcuts)}"
    if search.cost is not None and best is None:
        text += f" for {float(search.cost):.2f}"
    return text + (f", {counted(search.left_out, 'piece')} left out" if search.left_out else "")


class Teller:
    """Says now and then how planning comes along, and when the time that was given is over.

    `ceiling` is that time [s], None: no end. `say` takes a line; `clock` gives seconds.
    """

    def __init__(
        self,
        say: Callable[[str], None],
        ceiling: float | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._say, self._clock = say, clock
        self._began = clock()
        self._next = self._began + QUIET_S
        self._ceiling = ceiling

    def progress(self, now: Progress) -> None:
        """Say how far it is, if it is time to."""
        at = self._clock()
        if at < self._next:
            return
        self._next = at + _EVERY_S
        so_far = _so_far(now)
        seconds = at - self._began
        self._say(f"planning: {now.searches} of {now.of} searches done after {seconds:.0f} s{so_far}")

    def over(self) -> bool:
        """Whether the time that was given is over."""
        return self._ceiling is not None and self._clock() - self._began >= self._ceiling
