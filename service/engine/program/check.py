"""A hand-written program: gauge values in the operator's own order, checked, set and timed.

The order of the steps is never changed. The value of a back gauge or of a marked line is the depth
that falls at each cut; the value of a front stop is the depth that stays in front. What stays in front
goes on to the next step.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from service.engine.checks import (
    along_the_blade,
    front_stop,
    gauge_in_the_way,
    marked_line,
    narrow_or_small,
    not_clamped,
)
from service.engine.estimate import Effort, gauge_moves, settings_changes, times_for
from service.engine.findings import Finding
from service.engine.force import ForceCheck, check_force
from service.engine.handling import Lift, piece_kg
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.plan import Gauging, Settings
from service.engine.program.remarks import gauge_findings, lift_of, unique
from service.engine.quantities import Length, show_mm
from service.engine.settings import settings_for
from service.engine.stroke import stroke_share

_PROFILE = "machine profile"


@dataclass(frozen=True, slots=True)
class GaugeStep:
    """A line of the program: `repeat` cuts at one gauge value.

    Raises
    ------
    ValueError
        When the value or the repeat is not above zero.
    """

    gauge: Length
    repeat: int = 1
    gauging: Gauging = "back gauge"
    note: str = ""

    def __post_init__(self) -> None:
        if self.gauge <= 0:
            raise ValueError(f"gauge: a value above zero is wanted, not {show_mm(self.gauge)} mm")
        if self.repeat < 1:
            raise ValueError(f"repeat: at least one cut is wanted, not {self.repeat}")


@dataclass(frozen=True, slots=True)
class CheckedStep:
    """A line with what the machine is set to and what is to be said.

    `depth_before` and `depth_after` are what lies in front before the first and after the last cut;
    None when the depth of the piece is not known, or not enough of it is left to go on.
    """

    number: int
    step: GaugeStep
    depth_before: Length | None
    depth_after: Length | None
    settings: Settings
    force: ForceCheck
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class ProgramCheck:
    """The whole program.

    Attributes
    ----------
    steps
        In the order in which they were written.
    strokes, gauge_moves, settings_changes
        Of the whole program; the first setting counts as a change.
    minutes
        For one piece, by the time model of :mod:`service.engine.estimate`.
    needed_depth
        Least depth of the piece with which every cut can be held.
    piece_kg
        Mass of the piece before the first step, of ``needed_depth`` where its depth is not known [kg].
    lift
        Who moves it.
    rating_needed_mm
        The cut as thickness of the steel the machine is rated for [mm]: the least rating that would do.
    ok
        Whether there is no finding of level ``stop``. It does not say that a cut is without danger.
    """

    steps: tuple[CheckedStep, ...]
    strokes: int
    gauge_moves: int
    settings_changes: int
    minutes: float
    needed_depth: Length
    piece_kg: float
    lift: Lift
    rating_needed_mm: float
    ok: bool


def check_program(
    machine: Machine,
    material: Material,
    thickness: Length,
    cut_length: Length,
    depth: Length | None,
    steps: Sequence[GaugeStep],
) -> ProgramCheck:
    """Check and time a program on one piece.

    Parameters
    ----------
    machine, material, thickness
        The shear and what is on it.
    cut_length
        Size of the piece along the blade.
    depth
        Size of the piece in depth; None when it is not known: then what is left is not checked, and
        settings and mass are those for ``needed_depth``.
    steps
        At least one.

    Raises
    ------
    ValueError
        When there is no step, or a size is not above zero.
    """
    if not steps:
        raise ValueError("steps: at least one gauge value is wanted")
    for name, size in (("thickness", thickness), ("cut length", cut_length), ("depth", depth)):
        if size is not None and size <= 0:
            raise ValueError(f"{name}: a length above zero is wanted, not {show_mm(size)} mm")
    needed = needed_depth(machine, steps)
    sides = cut_length, depth or needed
    kg = piece_kg(material, *sides, thickness)
    lifted, about_lift = lift_of(machine, kg, sides)
    checked: list[CheckedStep] = []
    efforts: list[Effort] = []
    force = check_force(machine, material, thickness, cut_length)
    have = depth
    supposed = depth or needed
    for number, step in enumerate(steps, start=1):
        falls = step.gauge if step.gauging != "front stop" else max(1, supposed - step.gauge)
        settings = settings_for(
            machine,
            material,
            thickness,
            cut_length=cut_length,
            drop_depth=falls,
            gauging=step.gauging,
            force=force,
        )
        left = list(_left(machine, have, step))
        after = None if left else _left_in_front(have, step)
        findings = unique(
            (
                *along_the_blade(machine, cut_length),
                *_gauge(machine, thickness, step, have, settings.rake_deg),
                *left,
                *(one for one in (*force.findings, *settings.findings) if one.level != "note"),
                *(about_lift if number == 1 else ()),
            )
        )
        checked.append(CheckedStep(number, step, have, after, settings, force, findings))
        efforts.append(
            Effort(
                gauging=step.gauging,
                gauge=step.gauge,
                fall_depth=_fall_depth(have, step),
                gap=settings.gap,
                rake_deg=settings.rake_deg,
                pieces=1,
                lifts=0,
                cuts=step.repeat,
                strokes=step.repeat,
                stroke_share=stroke_share(machine, settings.stroke),
                turned=False,
                lift=lifted,
                wanted=True,
            )
        )
        have = after
        supposed = max(1, _left_in_front(supposed, step) or 0)
    return ProgramCheck(
        steps=tuple(checked),
        strokes=sum(step.repeat for step in steps),
        gauge_moves=gauge_moves(efforts),
        settings_changes=settings_changes(efforts),
        minutes=times_for(machine, tuple(efforts), [lifted]).total / 60,
        needed_depth=needed,
        piece_kg=kg,
        lift=lifted,
        rating_needed_mm=max(one.force.equivalent_thickness_mm for one in checked),
        ok=not any(finding.level == "stop" for one in checked for finding in one.findings),
    )


def needed_depth(machine: Machine, steps: Sequence[GaugeStep]) -> Length:
    """Least depth of a piece with which every cut of the program leaves enough in front to be clamped.

    Worked from the last step back: what falls is added to the clamping depth; before a front stop
    there must be what stays and the smallest drop.
    """
    need = machine.hold_down.depth
    for step in reversed(steps):
        if step.gauging == "front stop":
            # What stays is given by the stop; a later step that wants more is refused on the way forward.
            need = step.gauge + max(1, machine.smallest_drop)
        else:
            need += step.gauge * step.repeat
    return need


def _fall_depth(have: Length | None, step: GaugeStep) -> Length:
    """Depth of one drop; 0 when a stop cut does not tell because the depth of the piece is not known."""
    if step.gauging != "front stop":
        return step.gauge
    return 0 if have is None else max(0, have - step.gauge)


def _left_in_front(have: Length | None, step: GaugeStep) -> Length | None:
    if step.gauging == "front stop":
        return step.gauge
    return None if have is None else have - step.gauge * step.repeat


def _gauge(
    machine: Machine, thickness: Length, step: GaugeStep, have: Length | None, rake_deg: float
) -> Iterator[Finding]:
    """Whether the machine can gauge that value in that way, and what is to be said of what falls."""
    if step.gauging == "front stop":
        yield from front_stop(machine, step.gauge)
        if step.repeat > 1:
            message = "a front stop leaves the same piece in front every time: it cannot be repeated"
            yield Finding(
                "stop", "front-stop-repeated", message, "a cut takes away what lies beyond the stop"
            )
        yield from not_clamped(machine, step.gauge)
        # Of one that is too small it is said that too little would fall.
        falls = _fall_depth(have, step)
        if falls >= max(1, machine.smallest_drop):
            yield from narrow_or_small(machine, thickness, falls, rake_deg)
        return
    if step.gauging == "back gauge":
        yield from gauge_findings(machine, step.gauge)
    else:
        yield from marked_line(machine)
        yield from gauge_in_the_way(machine, step.gauge)
    yield from narrow_or_small(machine, thickness, step.gauge, rake_deg)


def _left(machine: Machine, have: Length | None, step: GaugeStep) -> Iterator[Finding]:
    """Whether the piece is deep enough for all the cuts of the step."""
    if have is None:
        return
    clamp = machine.hold_down.depth
    if step.gauging == "front stop":
        if have - step.gauge < max(1, machine.smallest_drop):
            message = f"only {show_mm(have)} mm lie in front: with a stop at {show_mm(step.gauge)} mm "
            message += "too little would fall"
            yield Finding("stop", "too-little-left", message, _PROFILE)
        else:
            yield from gauge_in_the_way(machine, have - step.gauge)
        return
    if have - step.gauge * step.repeat >= clamp:
        return
    possible = max(0, (have - clamp) // step.gauge)
    message = (
        f"{step.repeat} × {show_mm(step.gauge)} mm from {show_mm(have)} mm would leave less than the "
        f"clamping depth of {show_mm(clamp)} mm: {possible} can be cut"
    )
    yield Finding("stop", "too-little-left", message, _PROFILE)
