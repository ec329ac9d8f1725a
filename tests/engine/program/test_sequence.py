"""The order of steps: level by level, with few moves of the gauge."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.program.sequence import Task, in_order


def task(gauge: int, group: int, level: int = 0, needs: tuple[int, ...] = (), *, trim: bool = False) -> Task:
    return Task(needs, level, "back gauge", gauge, trim, group)


def test_a_level_is_finished_before_the_next_begins() -> None:
    # Even where the deeper step would find the gauge already set.
    tasks = [task(500, 0), task(500, 1, level=1, needs=(0,)), task(400, 0, needs=(0,))]
    assert in_order(tasks) == (0, 2, 1)


def test_equal_values_of_different_pieces_follow_each_other() -> None:
    tasks = [
        task(500, 0, trim=True),
        task(600, 0, needs=(0,)),
        task(500, 1, trim=True),
        task(400, 1, needs=(2,)),
        task(500, 2, trim=True),
        task(600, 2, needs=(4,)),
    ]
    order = in_order(tasks)
    values = [tasks[index].gauge for index in order]
    assert values == [500, 500, 500, 600, 600, 400]


def test_trims_come_first_where_the_gauge_must_move_anyway() -> None:
    assert in_order([task(300, 0), task(500, 1, trim=True)]) == (1, 0)


def test_a_gauge_that_stands_already_goes_before_a_trim_that_moves_it() -> None:
    tasks = [task(300, 0, trim=True), task(500, 1, needs=(0,), trim=True), task(300, 2, needs=(0,))]
    assert in_order(tasks) == (0, 2, 1)


def test_the_piece_at_the_blade_goes_on() -> None:
    tasks = [task(500, 1), task(300, 0), task(400, 1, needs=(0,))]
    assert in_order(tasks) == (0, 2, 1)


def test_steps_that_wait_for_one_another_are_refused() -> None:
    with pytest.raises(ValueError, match="wait for one another"):
        in_order([task(1, 0, needs=(1,)), task(2, 1, needs=(0,))])


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_nothing_is_made_before_what_it_needs(data: st.DataObject) -> None:
    count = data.draw(st.integers(1, 12))
    tasks = [
        task(
            data.draw(st.sampled_from([100, 200, 300])),
            data.draw(st.integers(0, 3)),
            data.draw(st.integers(0, 2)),
            tuple(data.draw(st.sets(st.integers(0, index - 1), max_size=3))) if index else (),
            trim=data.draw(st.booleans()),
        )
        for index in range(count)
    ]
    order = in_order(tasks)
    assert sorted(order) == list(range(count))
    place = {index: at for at, index in enumerate(order)}
    assert all(place[need] < place[index] for index in order for need in tasks[index].needs)
