"""How far an edge is used, where along the blade, and when it wants turning.

Wear is local. Short pieces are cut against the squaring arm, so the blade wears there first, and
the worst place decides when the edge is turned. `Machine.edge_life_m` is the life in metres of the
rated plate cut on the full length; a place on the edge has had its life when as many full-length
metres have passed *over it*: edge life / cutting length passes.

All sums are exactly rounded, so that the order in which cuts were written down never changes a
figure. Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length
from service.engine.wear.exact import layered
from service.engine.wear.learn import LEARN_BASIS, WearRate
from service.engine.wear.metres import WEAR_BASIS, severity

WORKING_DAYS_A_YEAR: Final = 250
"""A shop default, to turn working days into dates."""
WORK_SHARE: Final = WORKING_DAYS_A_YEAR / 365
"""Working days in a calendar day, wherever one is turned into the other."""

TURN_SOON: Final = 0.9
"""Share of life from which a caution is given: a shop default."""

DISAGREES: Final = 2.0
"""Birge's ratio from which measurements are said to disagree: a shop default."""

_BIRGE: Final = f"Birge's ratio, told from {DISAGREES:g} (shop default); {LEARN_BASIS}"
_FURTHEST_DAYS: Final = 365 * 200


@dataclass(frozen=True, slots=True)
class WearCut:
    """Equal strokes made with one edge.

    Attributes
    ----------
    material, thickness
        What was cut.
    cut_length
        Length sheared in one stroke.
    strokes
        How many.
    start
        Where the cut begins along the blade, counted from the squaring arm.
    """

    material: Material
    thickness: Length
    cut_length: Length
    strokes: int
    start: Length = 0


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of the edge that wore alike; `passes` in passes of the rated plate."""

    start: Length
    end: Length
    passes: float


@dataclass(frozen=True, slots=True)
class EdgeUse:
    """What an edge has been used for.

    Attributes
    ----------
    metres
        Metres cut [m].
    equivalent_metres
        The same in metres of the rated plate [m].
    bands
        The edge from the squaring arm to its other end, without holes.
    """

    metres: float
    equivalent_metres: float
    bands: tuple[Band, ...]

    @property
    def worst(self) -> Band:
        """The most worn stretch; the one nearest to the squaring arm among equals."""
        return max(self.bands, key=lambda band: (band.passes, -band.start))

    def passes_at(self, place: Length) -> float:
        """Passes over a place on the edge; the far end belongs to the last stretch."""
        inside = [band.passes for band in self.bands if band.start <= place < band.end]
        return inside[0] if inside else self.bands[-1].passes


@dataclass(frozen=True, slots=True)
class WearEstimate:
    """How an edge stands and when it wants turning.

    Attributes
    ----------
    use
        What it has been used for.
    share_used
        Share of its life used at the worst place [fraction; above 1: overdue].
    mean_share
        The same averaged over the length of the blade [fraction].
    worst_start, worst_end
        The worst place, from the squaring arm.
    share_per_day
        Share of its life used in a working day at the present rate, at the worst place.
    days_left
        Working days until the edge wants turning; 0 when it is due, None when nothing is cut.
    days_left_low, days_left_high
        The same at the ends of the interval of the wear rate; the upper one is None when the rate
        cannot be told from nothing.
    rate
        How much faster it wears than the life set for it says, with its interval: 1 before measurements.
    turn_on
        The date, when today was given and it is near enough to name.
    blade_days_left
        Working days until every edge still unused is worn as well; None when nothing is cut.
    findings
        With the basis; ``caution`` (``turn-soon``, ``turn-due``) near and past the end.
    """

    use: EdgeUse
    share_used: float
    mean_share: float
    worst_start: Length
    worst_end: Length
    share_per_day: float
    days_left: float | None
    days_left_low: float | None
    days_left_high: float | None
    turn_on: date | None
    blade_days_left: float | None
    rate: WearRate
    findings: tuple[Finding, ...]


class UseSoFar:
    """What an edge was used for up to now: cuts go in as they come, and it may be asked at any time.

    The figures are the same whatever the order, as each is an exact sum that is rounded once.
    """

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._weights: dict[tuple[Length, Length], list[float]] = {}
        self._severities: dict[tuple[int, Length], tuple[Material, float]] = {}
        self._metres = 0
        self._cuts = 0

    def add(self, cuts: Iterable[WearCut]) -> None:
        """Count cuts in.

        Raises
        ------
        ValueError
            Naming the cut (counted from 1) that does not lie on the blade or has no size.
        """
        blade, weights = self._machine.cutting_length, self._weights
        for cut in cuts:
            self._cuts += 1
            start, length, strokes = cut.start, cut.cut_length, cut.strokes
            end = start + length
            if strokes < 0 or length <= 0 or cut.thickness <= 0:
                raise ValueError(
                    f"cut {self._cuts}: a length and a thickness above zero and 0 or more strokes are wanted"
                )
            if start < 0 or end > blade:
                raise ValueError(
                    f"cut {self._cuts}: it reaches from {start / PER_MM:g} to {end / PER_MM:g} mm; "
                    f"the blade from 0 to {blade / PER_MM:g} mm"
                )
            weights.setdefault((start, end), []).append(self._severity(cut) * strokes)
            self._metres += length * strokes

    def _severity(self, cut: WearCut) -> float:
        # By the very material, which is kept here so that no other can take its place.
        known = self._severities.get((id(cut.material), cut.thickness))
        if known is None:
            known = cut.material, severity(self._machine, cut.material, cut.thickness)
            self._severities[id(cut.material), cut.thickness] = known
        return known[1]

    def use(self) -> EdgeUse:
        """What all of it comes to."""
        spans = [(start, end, math.fsum(parts)) for (start, end), parts in self._weights.items()]
        bands = [Band(*band) for band in layered(spans, also=(0, self._machine.cutting_length))]
        equivalent = math.fsum(weight * (end - start) for start, end, weight in spans) / (PER_MM * 1000)
        return EdgeUse(self._metres / (PER_MM * 1000), equivalent, _joined(bands))


def edge_use(machine: Machine, cuts: Iterable[WearCut]) -> EdgeUse:
    """Add up what was cut with one edge.

    Parameters
    ----------
    machine
        Its cutting length and rating.
    cuts
        In any order.

    Raises
    ------
    ValueError
        Naming the cut (counted from 1) that does not lie on the blade or has no size.
    """
    so_far = UseSoFar(machine)
    so_far.add(cuts)
    return so_far.use()


def _joined(bands: list[Band]) -> tuple[Band, ...]:
    joined: list[Band] = []
    for band in bands:
        if joined and joined[-1].passes == band.passes:
            joined[-1] = Band(joined[-1].start, band.end, band.passes)
        else:
            joined.append(band)
    return tuple(joined)


def life_passes(machine: Machine, edge_life_m: float | None = None) -> float:
    """Passes of the rated plate that a place on the edge lasts: edge life / cutting length [passes].

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500))
    >>> life_passes(machine)
    20000.0
    """
    life = machine.edge_life_m if edge_life_m is None else edge_life_m
    if not 0 < life < math.inf:
        raise ValueError(f"edge life: {life} is not a number of metres above 0")
    return life / (machine.cutting_length / (PER_MM * 1000))


def estimate(
    machine: Machine,
    cuts: Iterable[WearCut],
    *,
    days: float,
    recent: Iterable[WearCut] | None = None,
    edges_unused: int | None = None,
    edge_life_m: float | None = None,
    today: date | None = None,
    rate: WearRate = WearRate(),  # noqa: B008 - it is frozen
) -> WearEstimate:
    """How far the edge in use is worn, and when it wants turning at the present rate.

    Parameters
    ----------
    machine
        With the life of an edge, unless `edge_life_m` gives a measured one [m].
    cuts
        Everything cut with the edge in use.
    days
        Working days over which the present rate was observed, above 0: those of `recent`, or of
        `cuts` when `recent` is None.
    recent
        The cuts of those days.
    edges_unused
        Edges of this blade that are still unused; None: all but the one in use.
    today
        To name a date. The engine has no clock.
    rate
        What measurements taught (:mod:`service.engine.wear.learn`).

    Returns
    -------
    WearEstimate
        The forecast supposes that work goes on as in the days observed, at the same places.
    """
    if not 0 < days < math.inf:
        raise ValueError(f"days: {days} is not a number of working days above 0")
    waiting = machine.blade_edges - 1 if edges_unused is None else edges_unused
    if not 0 <= waiting < machine.blade_edges:
        raise ValueError(
            f"edges unused: 0 to {machine.blade_edges - 1} are possible on this blade, not {waiting}"
        )
    set_life = life_passes(machine, edge_life_m)
    life = set_life / rate.mean
    use = edge_use(machine, list(cuts))
    rate_use = use if recent is None else edge_use(machine, list(recent))
    worst, left = _first_to_wear_out(use, rate_use, life, days)
    per_day = rate_use.worst.passes / days / life
    share = use.worst.passes / life
    blade = machine.cutting_length / (PER_MM * 1000)
    days_left, low, high = left, None, None
    turn_on = whole = None
    if days_left is not None:
        low = _first_to_wear_out(use, rate_use, set_life / rate.high, days)[1]
        if rate.low > 0:
            high = _first_to_wear_out(use, rate_use, set_life / rate.low, days)[1]
        whole = days_left + waiting / per_day if per_day > 0 else None
        calendar = math.floor(days_left / WORK_SHARE)
        if today is not None and calendar <= _FURTHEST_DAYS:
            turn_on = today + timedelta(days=calendar)
    return WearEstimate(
        use=use,
        share_used=share,
        mean_share=use.equivalent_metres / blade / life,
        worst_start=worst.start,
        worst_end=worst.end,
        share_per_day=per_day,
        days_left=days_left,
        days_left_low=low,
        days_left_high=high,
        turn_on=turn_on,
        blade_days_left=whole,
        rate=rate,
        findings=(*_findings(machine, share, worst, edge_life_m), *_about_rate(rate)),
    )


def _about_rate(rate: WearRate) -> tuple[Finding, ...]:
    interval = f"{rate.low:.2f} to {rate.high:.2f}"
    if not rate.measurements:
        words = f"no edge was measured: it may wear {interval} times as fast as its set life says"
        return (Finding("note", "not-measured", words, LEARN_BASIS),)
    count = "1 measurement" if rate.measurements == 1 else f"{rate.measurements} measurements"
    which = f", the {rate.half} blade the faster," if rate.half is not None else ""
    words = f"after {count} it wears{which} {rate.mean:.2f} ({interval}) times as fast as its set life says"
    found = [Finding("note", "wear-rate", words, LEARN_BASIS)]
    if rate.stretch > DISAGREES:
        words = (
            f"measurements and estimate disagree by {rate.stretch:.1f} times what their errors allow, so the "
            "interval is that much wider: measure again, look for a chipped edge, and see whether all cuts "
            "were written down"
        )
        found.insert(0, Finding("caution", "measurements-disagree", words, _BIRGE))
    return tuple(found)


def _first_to_wear_out(use: EdgeUse, rate: EdgeUse, life: float, days: float) -> tuple[Band, float | None]:
    """The most worn place now, and the working days until some place has had its life.

    Another place than the most worn one may come first when the work has moved along the blade.
    """
    left: float | None = None
    first = 0
    for band in use.bands:
        # Both lie in the order of the blade.
        while first < len(rate.bands) and rate.bands[first].end <= band.start:
            first += 1
        fastest = max((other.passes for other in _meeting(rate.bands, first, band)), default=0.0)
        if fastest > 0:
            here = max(0.0, (life - band.passes) * days / fastest)
            left = here if left is None else min(left, here)
        elif band.passes >= life:
            left = 0.0
    return use.worst, left


def _meeting(bands: tuple[Band, ...], first: int, band: Band) -> Iterator[Band]:
    """Bands from the first one on, as long as they meet another."""
    for place in range(first, len(bands)):
        if bands[place].start >= band.end:
            return
        yield bands[place]


def _findings(machine: Machine, share: float, worst: Band, edge_life_m: float | None) -> tuple[Finding, ...]:
    life = machine.edge_life_m if edge_life_m is None else edge_life_m
    source = "machine profile" if edge_life_m is None else "measured"
    place = f"{worst.start / PER_MM:g} to {worst.end / PER_MM:g} mm from the squaring arm"
    told = [
        Finding(
            "note",
            "edge-use",
            f"{share:.0%} of the edge's life of {life:g} m is used at the worst place, {place}",
            f"{WEAR_BASIS}; edge life: {source}",
        )
    ]
    if share >= 1:
        told.append(
            Finding(
                "caution",
                "turn-due",
                f"the edge has had its life ({place}): look at burr and edge, turn the blade",
                f"edge life: {source}",
            )
        )
    elif share >= TURN_SOON:
        told.append(
            Finding(
                "caution",
                "turn-soon",
                f"the edge is near the end of its life ({place}): plan the turning of the blade",
                f"edge life: {source}",
            )
        )
    return tuple(told)
