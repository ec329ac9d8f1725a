"""The optional check of a lift by hand."""

from __future__ import annotations

from typing import Any

from schemas.lifting import LiftAnswerSchema, LiftQuestionSchema
from service.api.checks import material_of
from service.api.operations import Answer, Given, Operations
from service.engine.handling import piece_kg
from service.engine.lifting import Lifted, check_lift, reach_cm

lifting = Operations("lifting")


@lifting(
    "POST",
    "/checks/lift",
    scopes=("plan",),
    summary="One person lifting by hand, against the recommended limit of the NIOSH equation",
    body=LiftQuestionSchema,
    answers={200: LiftAnswerSchema},
    slow=True,
)
def check_one_lift(given: Given) -> Answer:
    """Check a lift."""
    body = given.body
    piece, mass, horizontal = body["piece"], body["mass_kg"], body["horizontal_cm"]
    if piece is not None:
        material = material_of(body, piece["material"], "/piece/material")
        mass = piece_kg(material, piece["length"], piece["width"], piece["thickness"])
        if horizontal is None:
            horizontal = reach_cm(min(piece["length"], piece["width"]), body["vertical_cm"])
    lift = Lifted(
        horizontal_cm=horizontal,
        vertical_cm=body["vertical_cm"],
        distance_cm=body["distance_cm"],
        angle_deg=body["turned_deg"],
        lifts_per_minute=body["lifts_per_minute"],
        duration=body["duration"],
        coupling=body["hold"],
    )
    check = check_lift(mass, lift)
    document: dict[str, Any] = LiftAnswerSchema().dump(
        {
            "mass_kg": mass,
            "horizontal_cm": horizontal,
            "limit_kg": check.limit_kg,
            "index": check.index,
            "multipliers": check.multipliers,
            "findings": [check.finding],
        }
    )
    return Answer(document)
