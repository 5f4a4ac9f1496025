"""Tasks shared among processes: the same results for any number of them, and errors as without them."""

from __future__ import annotations

import os
from collections.abc import Callable

import pytest

from wallquant.workers import ahead, at_most, spread


@pytest.mark.parametrize("workers", [1, 2, 3, 50])
def test_results_come_in_the_order_of_the_tasks(workers: int) -> None:
    held = {n: n * n for n in range(20)}  # what a function reads need not be sent
    assert spread(lambda n: held[n], range(20), workers=workers) == [n * n for n in range(20)]
    assert spread(lambda n: n, [], workers=workers) == []


def test_tasks_are_done_by_other_processes() -> None:
    assert os.getpid() not in spread(lambda _: os.getpid(), range(8), workers=2)
    assert set(spread(lambda _: os.getpid(), range(8), workers=1)) == {os.getpid()}


def test_an_error_is_raised_as_without_processes() -> None:
    class Unsendable(Exception):
        """It cannot be pickled, being local."""

    def fails(n: int) -> int:
        if n == 5:
            raise Unsendable("no 5")
        return n

    with pytest.raises(Unsendable, match="no 5"):
        spread(fails, range(8), workers=2)


def test_what_a_dying_process_takes_with_it_is_done_again() -> None:
    here = os.getpid()

    def dies(n: int) -> int:
        if n % 3 == 0 and os.getpid() != here:
            os._exit(1)
        return n

    assert spread(dies, range(9), workers=2) == list(range(9))


def test_results_that_cannot_be_sent_are_made_here() -> None:
    def local(n: int) -> Callable[[], int]:
        return lambda: n

    assert [one() for one in spread(local, range(4), workers=2)] == [0, 1, 2, 3]


def test_none_but_this_process_where_processes_are_not_forked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("multiprocessing.get_start_method", lambda: "spawn")
    assert at_most(0) == at_most(7) == 1
    monkeypatch.setattr("multiprocessing.get_start_method", lambda: "fork")
    assert at_most(7) == 7
    assert at_most(0) == (os.cpu_count() or 1)


@pytest.mark.parametrize("workers", [1, 2])
def test_a_task_ahead_gives_its_result(workers: int) -> None:
    here = os.getpid()
    with ahead(lambda: (7, os.getpid() == here), workers=workers) as found:
        assert found() == (7, workers == 1)


@pytest.mark.parametrize("workers", [1, 2])
def test_an_error_ahead_is_raised_where_the_result_is_asked_for(workers: int) -> None:
    with ahead(lambda: 1 // 0, workers=workers) as found, pytest.raises(ZeroDivisionError):
        found()


def test_a_task_ahead_whose_process_dies_is_done_here() -> None:
    here = os.getpid()
    with ahead(lambda: os.getpid() if os.getpid() == here else os._exit(1), workers=2) as found:
        assert found() == here
