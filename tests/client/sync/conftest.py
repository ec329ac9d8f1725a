"""The station's half of sync is tested against a centre of a few lines."""

import pytest
import responses

from client.sync import sync_once
from tests.client.sync.centre import URL, Centre


@pytest.fixture
def centre(page):
    made = Centre(page)
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        mock.add_callback("POST", f"{URL}/v1/sync/events", made.push)
        mock.add_callback("GET", f"{URL}/v1/sync/changes", made.changes)
        mock.add_callback("GET", f"{URL}/v1/sync/stations/bench1", made.where)
        made.mock = mock
        yield made


@pytest.fixture
def sync(station, hurry):
    def run(**given):
        return sync_once(station, patience=given.pop("patience", None) or hurry(), **given)

    return run
