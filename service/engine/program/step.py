"""One link of a chain of cuts as a step: how many pieces at once, force, settings, what is said beside it."""

from __future__ import annotations

from dataclasses import dataclass, field

from service.engine.force import ForceCheck, check_force
from service.engine.handling import piece_kg
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.plan import Gauging, Settings, Step
from service.engine.program.gang import gang_for, gripped
from service.engine.program.groups import Link
from service.engine.program.remarks import lift_of, step_findings
from service.engine.quantities import Length
from service.engine.settings import settings_for


@dataclass(frozen=True, slots=True)
class Shop:
    """What all steps of a program have in common: the machine and what is on it."""

    machine: Machine
    material: Material
    thickness: Length
    longest: Length
    forces: dict[Length, ForceCheck] = field(default_factory=dict)
    """What was found of cuts of each length."""
    settings: dict[tuple[Length, int, Length, bool, Gauging], Settings] = field(default_factory=dict)
    """What was found of cuts by their length, the pieces side by side that share it, the depth that falls,
    whether it is trim, and the gauging."""

    def about(self, along: Length, gang: int, link: Link) -> tuple[ForceCheck, Settings]:
        """Force and settings of a cut through so many pieces of that length; each question is asked once."""
        cut_length = along * gang
        force = self.forces.get(cut_length)
        if force is None:
            force = check_force(self.machine, self.material, self.thickness, cut_length)
            self.forces[cut_length] = force
        key = cut_length, gang, link.fall_depth, link.is_trim, link.cut.gauging
        settings = self.settings.get(key)
        if settings is None:
            settings = settings_for(
                self.machine,
                self.material,
                self.thickness,
                cut_length=cut_length,
                drop_depth=link.fall_depth,
                side_by_side=gang,
                trim=link.is_trim,
                gauging=link.cut.gauging,
                force=force,
            )
            self.settings[key] = settings
        return force, settings


def rough_step(shop: Shop, link: Link, layout: int) -> Step:
    """A step as far as its link tells: without number, turn, names of pieces and what becomes of them."""
    machine, material, thickness = shop.machine, shop.material, shop.thickness
    along, depth = link.across.size, link.extent.size
    kg = piece_kg(material, along, depth, thickness)
    lift, about_lift = lift_of(machine, kg, (along, depth))
    gang = _gang(shop, link, lift == "one person")
    force, settings = shop.about(along, gang, link)
    squared = _squared(machine, link)
    return Step(
        number=0,
        layout=layout,
        piece="",
        pieces=link.pieces,
        along_blade=along,
        depth=depth,
        axis=link.axis,
        edge_end=link.measured_end,
        edge_state=link.edge_state,
        turn="none",
        squared=squared,
        gauging=link.cut.gauging,
        gauge=link.cut.gauge,
        measured="drop" if link.cut.item_falls or link.cut.from_far else "remainder",
        repeat=link.repeat,
        gang=gang,
        strokes=link.repeat * -(-link.pieces // gang),
        settings=settings,
        force_kn=force.force_kn,
        rating_share=force.rating_share,
        piece_kg=kg,
        lift=lift,
        drops=(),
        remainders=(),
        findings=step_findings(
            machine,
            thickness,
            link,
            gang,
            squared,
            settings.rake_deg,
            (*force.findings, *settings.findings),
            about_lift,
        ),
    )


def _gang(shop: Shop, link: Link, light: bool) -> int:
    """Pieces in one stroke. Only the back gauge stops several pieces at once, and heavy ones go alone."""
    if link.cut.gauging != "back gauge" or not light:
        return 1
    return gang_for(shop.machine, link.across.size, link.pieces, shop.longest)


def _squared(machine: Machine, link: Link) -> bool:
    """Whether a good side edge can be held to the squaring arm while a foot grips the piece."""
    good_side = not (link.across.near_mill and link.across.far_mill)
    return good_side and machine.squaring_arm > 0 and gripped(machine.hold_down, 0, link.across.size)
