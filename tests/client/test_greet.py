"""Setting a workstation up tells at once whether its tokens fit, and keeps none that does not."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from client.cache.outbox import Draft
from client.cli import cli


@pytest.fixture
def init(service, tmp_path):
    """Run `shearwright init` for bench1 at northgate with a token."""

    def run(token, *words, server=None, site="northgate"):
        given = ["--server", server or service.url, "--token", token, "--station", "bench1", "--site", site]
        return CliRunner().invoke(cli, ["--home", str(tmp_path / "h"), "init", *given, *words])

    return run


def kept(tmp_path):
    return (tmp_path / "h" / "settings.json").exists() or (tmp_path / "h" / "token").exists()


def test_a_token_that_fits_is_said_to(init, service):
    done = init(service.station_token("bench1"), "--plan-token", service.plan_token())
    assert done.exit_code == 0, done.output
    assert "the service knows it: the tokens fit" in done.output
    assert "not proved" not in done.output


def test_a_token_that_does_not_fit_is_told_in_words_and_not_kept(init, service, tmp_path):
    made = "shearwright-service token make --name NAME --scope station --site northgate --station bench1"
    for token, told in (
        ("mistyped", "does not know it: it is mistyped, has expired, or was revoked"),
        (service.station_token("other"), "this token is that of station 'other'"),
        (
            service.command("token", "make", "--scope", "plan").strip(),
            "it lacks the scope: this token has plan",
        ),
        (service.command("token", "make", "--scope", "report").strip(), "not the token of a station"),
        (service.command("token", "make", "--scope", "admin").strip(), "not the token of a station"),
    ):
        done = init(token)
        assert done.exit_code == 6, done.output
        assert told in done.stderr
        assert made in done.stderr
        assert done.stderr.rstrip().endswith("nothing was kept")
        assert not kept(tmp_path)


def test_the_token_of_the_same_station_at_another_site_does_not_fit(init, service, tmp_path):
    done = init(service.station_token("bench1"), site="old-quay")
    assert done.exit_code == 6
    assert "at the site 'northgate', and --site says 'old-quay'" in done.stderr
    assert not kept(tmp_path)


def test_a_station_token_does_not_plan_at_the_service(init, service, tmp_path):
    token = service.station_token("bench1")
    done = init(token, "--plan-token", token)
    assert done.exit_code == 6
    assert "the token for planning does not fit: it lacks the scope: this token has station" in done.stderr
    assert not kept(tmp_path)


def test_a_refused_set_up_leaves_the_one_before(init, service, tmp_path):
    good = service.station_token("bench1")
    init(good)
    assert init("mistyped").exit_code == 6
    assert (tmp_path / "h" / "token").read_text().strip() == good


def test_without_the_service_the_token_is_kept_and_said_to_be_unproved(init, tmp_path):
    done = init("t", server="http://127.0.0.1:9")
    assert done.exit_code == 0
    assert "whether the token fits is not proved: http://127.0.0.1:9 cannot be reached" in done.stderr
    assert json.loads((tmp_path / "h" / "settings.json").read_text())["station"] == "bench1"


def test_an_address_without_a_service_is_refused(init, service, tmp_path):
    done = init("t", server=f"{service.url}/elsewhere")
    assert done.exit_code == 6, done.output
    assert not kept(tmp_path)


def test_damaged_settings_are_put_right_by_a_new_set_up_and_the_log_keeps_its_name(home, station):
    payload = {"machine": "bench-3m", "gauge_mm": 300.0, "measured_mm": 300.1}
    station.outbox.write([Draft("gauge.measured", payload)])
    station.close()
    home.settings_file.write_text("{")
    run = CliRunner()
    told = run.invoke(cli, ["--home", str(home.folder), "status"])
    assert told.exit_code == 8
    assert "run shearwright init again" in told.stderr
    words = ["init", "--server", "http://127.0.0.1:9", "--token", "t", "--site", "northgate", "--station"]
    refused = run.invoke(cli, ["--home", str(home.folder), *words, "other"])
    assert refused.exit_code == 3
    assert "belongs to station 'bench1'" in refused.stderr
    assert run.invoke(cli, ["--home", str(home.folder), *words, "bench1"]).exit_code == 0
    assert run.invoke(cli, ["--home", str(home.folder), "status"]).exit_code == 0
