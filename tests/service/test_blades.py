"""Whatever becomes of machine and blade, wear that was written down stays with the blade."""

from __future__ import annotations

import json
import threading
from contextlib import suppress
from typing import Any

import pytest

from service.app import load_shop
from service.store import records
from service.store.database import connected
from tests.service.shop import NOW, Service, Station, machine, states

PROGRAM = {
    "id": "brackets",
    "name": "Brackets",
    "machine": "bench-3m",
    "material": "S235JR",
    "thickness_mm": 3,
    "cut_length_mm": 600,
    "steps": [{"gauge_mm": 50}],
}


def used(service: Service) -> dict[str, list[float]]:
    return {blade["id"]: blade["used_m"] for blade in service.get("/blades").json["items"]}


def seen(service: Service, scope: str, cursor: str | None = None) -> dict[tuple[str, str], bool]:
    """What a station has after it has read the feed; False: told that it is gone."""
    query = {} if cursor is None else {"cursor": cursor}
    changes = service.get("/sync/changes", scope, query_string=query).json["changes"]
    return {(change["kind"], change["id"]): not change["deleted"] for change in changes}


def move_to_fell_road(service: Service) -> None:
    answer = service.put("/machines/bench-3m", machine(site="fell-road"), headers={"If-Match": "*"})
    assert answer.status_code == 200
    service.secrets["there"] = service.token("station", site="fell-road", station="fr-1")


def test_a_machine_takes_the_wear_of_its_blade_along_to_another_site(
    service: Service, station: Station
) -> None:
    service.push([station.cut(equivalent_m=50)])
    move_to_fell_road(service)
    assert states(service.push([Station("fr-1").cut(equivalent_m=1)], "there")) == ["applied"]
    assert used(service) == {"bench-3m": [51, 0, 0, 0]}


def test_blade_and_programs_go_down_to_the_site_where_their_machine_stands(
    service: Service, station: Station
) -> None:
    service.push([station.cut()])
    assert service.post("/programs", PROGRAM).status_code == 201
    revision = service.get("/programs/brackets").headers["ETag"]
    cursor = service.get("/sync/changes", "station").json["cursor"]
    move_to_fell_road(service)
    for record in (("blade", "bench-3m"), ("program", "brackets")):
        assert seen(service, "there")[record] is True
        assert seen(service, "station", cursor)[record] is False
        assert record not in seen(service, "station")
    assert service.get("/programs/brackets").headers["ETag"] == revision


def test_loading_a_shop_anew_moves_them_too(service: Service, station: Station) -> None:
    service.push([station.cut()])
    with connected():
        load_shop(json.dumps({"machines": [machine(site="fell-road")]}).encode(), by="load", now=NOW)
    service.secrets["there"] = service.token("station", site="fell-road", station="fr-1")
    assert seen(service, "there")["blade", "bench-3m"] is True


def test_a_blade_on_the_shelf_is_not_overwritten_by_the_next_one(service: Service, station: Station) -> None:
    service.push([station.cut(equivalent_m=50)])
    blade = service.get("/blades/bench-3m").json
    answer = service.put("/blades/bench-3m", {**blade, "machine": None}, headers={"If-Match": "*"})
    assert answer.status_code == 200
    assert states(service.push([station.cut(equivalent_m=1)])) == ["applied"]
    assert used(service) == {"bench-3m": [50, 0, 0, 0], "bench-3m-2": [1, 0, 0, 0]}


@pytest.mark.parametrize("name", ["Shear 1", "Ø-shear", "-"])
def test_every_cut_counts_on_a_machine_whatever_it_is_called(
    service: Service, station: Station, name: str
) -> None:
    assert service.post("/machines", machine(name)).status_code == 201
    cuts = [station.cut(machine=name, equivalent_m=1) for _ in range(3)]
    assert states(service.push(cuts)) == ["applied"] * 3
    (blade,) = service.get("/blades").json["items"]
    assert (blade["machine"], blade["used_m"]) == (name, [3, 0, 0, 0])
    # What was begun by itself can be changed by hand.
    one = f"/blades/{blade['id']}"
    assert service.put(one, {**blade, "remark": "new"}, headers={"If-Match": "*"}).status_code == 200


def test_two_who_enter_a_blade_for_one_machine_at_once_cannot_both_have_it(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked = threading.Barrier(2)
    listed = records.listed

    def slow(kind: str, **more: Any) -> Any:
        found = listed(kind, **more)
        if kind == "blade":
            # Held until the other has looked as well, or a while when it has to wait for this one.
            with suppress(threading.BrokenBarrierError):
                looked.wait(1)
        return found

    monkeypatch.setattr(records, "listed", slow)
    told: list[int] = []

    def enter(name: str) -> None:
        http = service.app.test_client()
        headers = {"Authorization": f"Bearer {service.secrets['admin']}"}
        told.append(
            http.post("/v1/blades", json={"id": name, "machine": "bench-3m"}, headers=headers).status_code
        )

    threads = [threading.Thread(target=enter, args=(name,)) for name in ("BL-1", "BL-2")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(told) == [201, 422]
