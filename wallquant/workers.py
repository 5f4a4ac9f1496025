"""Share tasks among forked processes: the results are the same for any number of them.

A forked process has all that its parent has, so that tasks and what they read are not sent to it; only results are sent back.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing.connection import Connection, wait
from typing import Any, TypeVar

T = TypeVar("T")
R = TypeVar("R")

WORTH = 4_000
"""With fewer pieces than this, the process does all itself: starting others would take longer."""


def at_most(workers: int) -> int:
    """Return how many processes to use where 0 means one a processor; 1 where processes are not forked."""
    if multiprocessing.get_start_method() != "fork":
        return 1
    return workers or os.cpu_count() or 1


def spread(function: Callable[[T], R], tasks: Sequence[T], *, workers: int) -> list[R]:
    """Return the result of each task, in their order.

    Parameters
    ----------
    function : callable
        Without effects in this process; its results can be pickled.
    tasks : sequence
        Each is taken by the next process that is free, so put the longest first.
    workers : int
        Most processes; with one, this process does all.

    Notes
    -----
    What a process fails to do, or takes with it when it dies, this one does again: so an error is raised as it would be without others.
    """
    done = _forked(function, tasks, min(workers, len(tasks))) if workers > 1 and len(tasks) > 1 else {}
    return [done[n] if n in done else function(task) for n, task in enumerate(tasks)]


@contextmanager
def ahead(function: Callable[[], R], *, workers: int) -> Iterator[Callable[[], R]]:
    """Let another process do one task while this one goes on; give what returns its result, waiting for it.

    Parameters
    ----------
    function : callable
        As in `spread`; with one worker it is called where its result is asked for.
    workers : int
    """
    if workers < 2:
        yield function
        return
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe(duplex=False)
    other = context.Process(target=_work, args=(lambda _: function(), (0,), context.Value("i", 0), there), daemon=True)
    other.start()
    there.close()

    def result() -> R:
        try:
            made: R = here.recv()[1]
        except EOFError:
            return function()
        return made

    try:
        yield result
    finally:
        other.terminate()
        other.join()
        here.close()


def _forked(function: Callable[[T], R], tasks: Sequence[T], count: int) -> dict[int, R]:
    context = multiprocessing.get_context("fork")
    turn = context.Value("i", 0)
    done: dict[int, R] = {}
    processes = []
    pipes: list[Connection] = []
    try:
        for _ in range(count):
            here, there = context.Pipe(duplex=False)
            pipes.append(here)
            one = context.Process(target=_work, args=(function, tasks, turn, there), daemon=True)
            one.start()
            processes.append(one)
            there.close()  # so that the pipe ends with that process
        while pipes:
            for pipe in wait(pipes):
                assert isinstance(pipe, Connection)
                try:
                    n, result = pipe.recv()
                except EOFError:
                    pipes.remove(pipe)
                else:
                    done[n] = result
    finally:
        for one in processes:
            one.terminate()
            one.join()
    return done


def _work(function: Callable[[T], R], tasks: Sequence[T], turn: Any, pipe: Connection) -> None:
    """Do one task after the other until none is left."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interrupt is the parent's to tell
    while True:
        with turn.get_lock():
            n, turn.value = turn.value, turn.value + 1
        if n >= len(tasks):
            break
        try:
            pipe.send((n, function(tasks[n])))
        except Exception:
            continue  # the parent does it again, and raises
    pipe.close()
