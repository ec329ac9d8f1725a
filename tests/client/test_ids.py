import uuid

from hypothesis import given
from hypothesis import strategies as st

from client import ids
from client.ids import computer_fingerprint, uuid7


def test_a_uuid_has_the_layout_of_rfc_9562(monkeypatch):
    # RFC 9562, appendix A.6: unix_ts_ms 0x017F22E279B0 begins 017f22e2-79b0-7…; variant 0b10.
    monkeypatch.setattr(ids, "_last", 0)
    made = str(uuid7(0x017F22E279B0))
    assert made.startswith("017f22e2-79b0-7")
    assert made[19] in "89ab"


@given(st.lists(st.integers(0, 2**47), min_size=2, max_size=50))
def test_each_uuid_is_greater_than_the_one_before_also_when_the_clock_is_put_back(stamps):
    made = [uuid7(stamp) for stamp in stamps]
    assert made == sorted(made)
    assert len(set(made)) == len(made)
    assert all(one.version == 7 and one.variant == uuid.RFC_4122 for one in made)


def test_thousands_within_one_millisecond_stay_in_order():
    made = [uuid7(2**46) for _ in range(10_000)]
    assert made == sorted(set(made))


def test_a_computer_keeps_its_fingerprint():
    assert computer_fingerprint() == computer_fingerprint()
    assert len(computer_fingerprint()) == 16
