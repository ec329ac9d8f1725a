"""An offcut on the rack keeps the edges and the doubtful size that the station told."""

from __future__ import annotations

from typing import Any

import pytest

from tests.service.shop import Service, Station, piece

PLAIN: dict[str, Any] = {}
MILL = {"edges": "mill", "oversize_mm": 25.3}


def stored(service: Service, station: Station, *told: dict[str, Any]) -> tuple[str, float, int]:
    events = [station.write("offcut.stored", {**piece(), "ref": "OC-1", **one}) for one in told]
    answer = service.push(events)
    assert [result["state"] for result in answer.json["results"]] == ["applied"] * len(told), answer.text
    record = service.get("/stock/northgate/OC-1").json
    return record["edges"], record["oversize"], record["quantity"]


@pytest.mark.parametrize(
    ("told", "kept"),
    [
        (MILL, ("mill", 25.3, 1)),
        ({"edges": "mill"}, ("mill", 20.0, 1)),
        ({"edges": "cut"}, ("cut", 0.5, 1)),
        (PLAIN, ("cut", 0.5, 1)),
    ],
)
def test_the_edges_and_the_size_are_those_that_were_told(
    service: Service, station: Station, told: dict[str, Any], kept: tuple[str, float, int]
) -> None:
    assert stored(service, station, told) == kept


@pytest.mark.parametrize("told", [(PLAIN, MILL), (MILL, PLAIN)])
def test_the_worst_of_those_under_one_name_speaks_for_all(
    service: Service, station: Station, told: tuple[dict[str, Any], ...]
) -> None:
    assert stored(service, station, *told) == ("mill", 25.3, 2)
