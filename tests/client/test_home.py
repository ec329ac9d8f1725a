import os
import stat
import threading

import pytest

from client.errors import InputWrong, NotSetUp, StoreBusy, StoreFailed
from client.home import Home, StationSettings, checked_server, home_at, write_whole


@pytest.mark.skipif(os.name != "posix", reason="file modes are those of POSIX")
def test_tokens_are_for_their_owners_eyes_only(tmp_path):
    home = Home(tmp_path / "home")
    home.write_settings(StationSettings("https://x.test", "bench1", "northgate"), "abc", "def")
    for file in (home.token_file, home.plan_token_file):
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(home.folder.stat().st_mode) == 0o700
    assert (home.token(), home.plan_token()) == ("abc", "def")
    assert "abc" not in home.settings_file.read_text()


def test_a_home_without_settings_says_what_to_run(tmp_path):
    with pytest.raises(NotSetUp, match="shearwright init"):
        Home(tmp_path).settings()


def test_damaged_settings_are_told_apart_from_missing_ones(tmp_path):
    Home(tmp_path).settings_file.write_text("{")
    with pytest.raises(StoreFailed, match="cannot be read"):
        Home(tmp_path).settings()


def test_the_environment_names_the_home_unless_the_command_does(tmp_path, monkeypatch):
    monkeypatch.setenv("SHEARWRIGHT_HOME", str(tmp_path / "env"))
    assert home_at().folder == tmp_path / "env"
    assert home_at(tmp_path / "given").folder == tmp_path / "given"


@pytest.mark.parametrize(
    "url", ["shear.example", "ftp://x.test", "https://", "https://user:pw@x.test", "https://x.test/?a=1"]
)
def test_what_is_no_address_of_a_service_is_refused(url):
    with pytest.raises(InputWrong):
        checked_server(url)


def test_a_file_is_whole_or_as_it_was(tmp_path, monkeypatch):
    file = tmp_path / "plan.json"
    write_whole(file, b"old")

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreFailed, match="the disk is full"):
        write_whole(file, b"new, and longer")
    assert file.read_bytes() == b"old"
    assert [one.name for one in tmp_path.iterdir()] == ["plan.json"]


def test_a_second_writer_waits_briefly_and_then_says_so(tmp_path):
    home = Home(tmp_path)
    held, done = threading.Event(), threading.Event()

    def other() -> None:
        with home.writing():
            held.set()
            done.wait(10)

    thread = threading.Thread(target=other)
    thread.start()
    held.wait(10)
    with pytest.raises(StoreBusy, match="another shearwright"), home.writing(0.1):
        pass
    done.set()
    thread.join()
    with home.writing(5):
        pass
