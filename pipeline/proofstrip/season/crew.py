"""Who runs the trials: processes of this machine, or the workers of a cluster. Both are asked in the same way."""

import contextlib
import multiprocessing
import time
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from proofstrip.errors import DataError
from proofstrip.season.outcome import STATES, Outcome, State, Task
from proofstrip.season.task import run_task

# A worker is replaced after so many trials: what libraries keep in memory is given back.
TRIALS_PER_PROCESS = 50
LOOK_EVERY_S, GIVE_UP_S = 2.0, 60.0


def run_here(tasks: Sequence[Task], workers: int) -> Iterator[Outcome]:
    """Run trials in processes of this machine, as they become free.

    Parameters
    ----------
    tasks : sequence of Task
    workers : int
        Processes; so many trials are in memory at a time.

    Yields
    ------
    Outcome
        As they end.

    Notes
    -----
    A process that is stopped from outside takes the pool with it: the trials that were under way are then run one at
    a time, each in a process of its own, so that the one which brought it down is known and the others are done.
    """
    waiting = deque(tasks)
    while waiting:
        with _pool(workers) as pool:
            try:
                yield from _keep_busy(pool, waiting, workers)
                return
            except _BrokenError as broken:
                suspects = broken.under_way
        for task in suspects:
            yield _run_alone(task)


class _BrokenError(Exception):
    """A process of the pool was stopped from outside."""

    def __init__(self, under_way: Sequence[Task]) -> None:
        self.under_way = under_way
        super().__init__("a process was stopped")


def _pool(workers: int) -> ProcessPoolExecutor:
    """Start processes that share nothing with this one."""
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=context, max_tasks_per_child=TRIALS_PER_PROCESS)


def _keep_busy(pool: Executor, waiting: deque[Task], size: int) -> Iterator[Outcome]:
    """Keep so many trials under way, and give each outcome as it comes."""
    flying: dict[Future[Outcome], Task] = {}
    while waiting or flying:
        try:
            while waiting and len(flying) < size:
                future = pool.submit(run_task, waiting[0])
                flying[future] = waiting.popleft()
        except BrokenProcessPool:
            raise _BrokenError(list(flying.values())) from None
        ended, _ = wait(flying, return_when=FIRST_COMPLETED)
        lost = [future for future in ended if isinstance(future.exception(), BrokenProcessPool)]
        for future in ended - set(lost):
            del flying[future]
            yield future.result()
        if lost:
            raise _BrokenError(list(flying.values()))


def _run_alone(task: Task) -> Outcome:
    """Run a trial once more, in a process of its own."""
    began = time.perf_counter()
    with _pool(1) as pool:
        try:
            return pool.submit(run_task, task).result()
        except BrokenProcessPool:
            return Outcome(task.name, "killed", STATES["killed"], time.perf_counter() - began)


def run_there(tasks: Sequence[Task], address: str) -> Iterator[Outcome]:
    """Run trials on the workers of a Dask cluster.

    Parameters
    ----------
    tasks : sequence of Task
        Addresses that every worker can read and write.
    address : str
        The scheduler's: ``tcp://10.0.0.1:8786``.

    Yields
    ------
    Outcome
        As they end. A trial whose worker is lost is given to another one; one that loses its worker again and again is
        named.

    Raises
    ------
    DataError
        When dask.distributed is not installed, nobody answers, or every worker is lost.
    """
    with _connect(address) as client:
        waiting, seen = deque(tasks), time.monotonic()
        flying: dict[Any, Task] = {}
        while waiting or flying:
            count = len(client.scheduler_info(n_workers=-1)["workers"])
            seen = time.monotonic() if count else seen
            if time.monotonic() - seen > GIVE_UP_S:
                raise DataError(
                    f"{address} has had no worker for {GIVE_UP_S:.0f} s; what had ended is whole. Run again."
                )
            while waiting and len(flying) < 2 * count:
                task = waiting.popleft()
                flying[client.submit(run_task, task, pure=False, retries=0)] = task
            yield from _collect(client, flying)


def _collect(client: Any, flying: dict[Any, Task]) -> Iterator[Outcome]:
    """Wait a moment, and give what has ended."""
    from distributed import TimeoutError as NothingYet
    from distributed import wait as wait_for

    if not flying:
        time.sleep(LOOK_EVERY_S)
        return
    with contextlib.suppress(NothingYet), client.as_current():
        wait_for(list(flying), timeout=LOOK_EVERY_S, return_when="FIRST_COMPLETED")
    for future in [future for future in flying if future.done()]:
        task = flying.pop(future)
        fault = future.exception()
        if fault is None:
            yield future.result()
        else:
            state: State = "killed" if type(fault).__name__ == "KilledWorker" else "failed"
            yield Outcome(task.name, state, f"{STATES[state]} ({type(fault).__name__}: {fault})")


@contextlib.contextmanager
def _connect(address: str) -> Iterator[Any]:
    """Reach the scheduler."""
    try:
        from distributed import Client
    except ImportError as fault:
        raise DataError(
            "A season on a cluster needs dask.distributed, which is not installed: pip install 'proofstrip[cluster]'."
        ) from fault
    try:
        client = Client(address, timeout=10, set_as_default=False)
    except (OSError, ValueError) as fault:
        raise DataError(f"No scheduler answers at {address}: {fault}. Start one with dask scheduler.") from fault
    with client:
        yield client
