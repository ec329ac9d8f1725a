"""Asking the service, when a workstation is set up, whether its tokens fit."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from client.errors import CentreAway, CentreRefuses
from client.home import StationSettings
from client.wire import Answer, Wire

WAIT_S: Final = 10.0
"""Longest silence that a person who sets a workstation up is let wait for [s]."""

_NOT_KEPT: Final = "; nothing was kept"


def greet_station(settings: StationSettings, token: str) -> str | None:
    """Ask whether a token is that of this station and site.

    Returns
    -------
    None when it is; else why nobody could tell: the service does not answer.

    Raises
    ------
    CentreRefuses
        When the token does not fit, or the address is not that of the service; saying what to do.
    """
    told: dict[str, object] = {}

    def ask(wire: Wire) -> None:
        told.update(wire.get(f"/v1/sync/stations/{settings.station}").document)

    away = _asked(settings, token, ask)
    if away is not None:
        return away
    site = told.get("site", settings.site)  # a service of an earlier version does not tell
    if site is None:
        raise _unfit(settings, "it is not the token of a station but one of another scope")
    if site != settings.site:
        raise _unfit(
            settings,
            f"it is that of station {settings.station!r} at the site {site!r}, and --site says "
            f"{settings.site!r}",
        )
    return None


def greet_planning(settings: StationSettings, token: str) -> str | None:
    """Ask whether a token may plan at the service; as :func:`greet_station`."""

    def ask(wire: Wire) -> Answer | None:
        try:
            return wire.post("/v1/plans", {})
        except CentreRefuses as refusal:
            if refusal.status != 422:
                raise
            return None  # it looked at the empty order, so the token is good

    return _asked(settings, token, ask, planning=True)


def _asked(
    settings: StationSettings, token: str, ask: Callable[[Wire], object], *, planning: bool = False
) -> str | None:
    wire = Wire(settings.server, token, timeout_s=WAIT_S)
    try:
        ask(wire)
    except CentreAway as away:
        return str(away)
    except CentreRefuses as refusal:
        if refusal.status == 401:
            why = f"{settings.server} does not know it: it is mistyped, has expired, or was revoked"
            raise _unfit(settings, why, planning=planning) from refusal
        if refusal.status == 403:
            said = str(refusal.problem.get("detail") or "it has another scope or station")
            why = f"it lacks the scope: {said.rpartition('; ')[2]}" if said.startswith("the scope ") else said
            raise _unfit(settings, why, planning=planning) from refusal
        raise CentreRefuses(f"{refusal}{_NOT_KEPT}", refusal.status, refusal.problem) from refusal
    finally:
        wire.close()
    return None


def _unfit(settings: StationSettings, why: str, *, planning: bool = False) -> CentreRefuses:
    if planning:
        return CentreRefuses(
            f"the token for planning does not fit: {why}; one is made at the service by "
            f"shearwright-service token make --name NAME --scope plan{_NOT_KEPT}",
            403,
        )
    return CentreRefuses(
        f"the token does not fit: {why}; one that does is made at the service by shearwright-service token "
        f"make --name NAME --scope station --site {settings.site} --station {settings.station}{_NOT_KEPT}",
        403,
    )
