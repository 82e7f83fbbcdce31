"""Spreads jobs over processes: a Dask cluster, a pool of this host's own, or one after the other."""

from __future__ import annotations

import importlib.util
import logging
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import Any, Generic, Literal, Protocol, TypeVar

from historian.errors import OutsideWorldAway, WrongInput

J = TypeVar("J")
R = TypeVar("R")
Way = Literal["dask", "processes", "turns"]
PATIENCE_S = 10
"""How long a scheduler may take to answer."""


@dataclass(frozen=True, slots=True)
class Done(Generic[R]):
    """A job that is over: its number in the list, and its result or what it failed of."""

    number: int
    result: R | None
    error: BaseException | None = None


class Crew(Protocol):
    """Those who do the jobs."""

    def do(self, work: Callable[[J], R], jobs: Sequence[J]) -> Iterator[Done[R]]:
        """The jobs' results as they come; what is left undone when this is closed is called off."""
        ...


def has_dask() -> bool:
    """Whether Dask's cluster is installed here."""
    return importlib.util.find_spec("distributed") is not None


def own_cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def way_for(jobs: int, scheduler: str | None, asked: Way | None) -> Way:
    """How so many jobs are spread.

    Raises:
        WrongInput: Dask is asked for and not installed, or a scheduler without it.
    """
    if scheduler is not None and asked not in (None, "dask"):
        raise WrongInput(f"--scheduler is for Dask, --spread {asked} does without it: leave one of them out")
    if (scheduler is not None or asked == "dask") and not has_dask():
        raise WrongInput("Dask is not installed here: pip install 'meltledger[batch]'")
    if scheduler is not None:
        return "dask"
    if asked is not None:
        return asked
    if jobs < 2:
        return "turns"
    return "dask" if has_dask() else "processes"


@contextmanager
def crew(way: Way, workers: int, scheduler: str | None = None) -> Iterator[Crew]:
    """A crew that stands ready; it is sent home at the end, however that comes.

    Args:
        workers: processes of this host; an outside scheduler has its own.

    Raises:
        OutsideWorldAway: the scheduler does not answer.
    """
    if way == "turns":
        yield _Turns()
    elif way == "processes":
        with _pool(workers) as pool:
            yield _Pool(pool)
    else:
        with _client(workers, scheduler) as client:
            yield _Dask(client)


class _Turns:
    def do(self, work: Callable[[J], R], jobs: Sequence[J]) -> Iterator[Done[R]]:
        for number, job in enumerate(jobs):
            yield _tried(number, lambda job=job: work(job))  # type: ignore[misc]


class _Pool:
    def __init__(self, pool: ProcessPoolExecutor) -> None:
        self._pool = pool

    def do(self, work: Callable[[J], R], jobs: Sequence[J]) -> Iterator[Done[R]]:
        futures = {self._pool.submit(work, job): n for n, job in enumerate(jobs)}
        for future in as_completed(futures):
            yield _tried(futures[future], future.result)


class _Dask:
    def __init__(self, client: Any) -> None:
        self._client = client

    def do(self, work: Callable[[J], R], jobs: Sequence[J]) -> Iterator[Done[R]]:
        from distributed import as_completed as as_dask_completes

        futures = [self._client.submit(work, job, pure=False) for job in jobs]
        numbers = {future.key: n for n, future in enumerate(futures)}
        try:
            for future in as_dask_completes(futures, loop=self._client.loop, raise_errors=False):
                yield _tried(numbers[future.key], future.result)
        finally:
            self._client.cancel(futures)


def _tried(number: int, ask: Callable[[], R]) -> Done[R]:
    try:
        return Done(number, ask())
    except Exception as error:
        return Done(number, None, error)


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    # A fresh interpreter: forking a process that has threads is asking for a lock that nobody frees.
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(workers, mp_context=context, initializer=_leave_interrupts_to_the_parent)
    try:
        yield pool
    except BaseException:
        for process in list((getattr(pool, "_processes", None) or {}).values()):
            process.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _leave_interrupts_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def _client(workers: int, scheduler: str | None) -> Iterator[Any]:
    from distributed import Client, LocalCluster

    with ExitStack() as stack:
        try:
            if scheduler is None:
                cluster = LocalCluster(
                    n_workers=workers,
                    threads_per_worker=1,
                    dashboard_address="127.0.0.1:0",
                    silence_logs=logging.CRITICAL,
                )
                address: Any = stack.enter_context(cluster)
            else:
                address = scheduler
            client = stack.enter_context(Client(address, set_as_default=False, timeout=PATIENCE_S))
        except (OSError, TimeoutError) as error:
            raise OutsideWorldAway(
                f"{scheduler or 'a cluster on this host'}: does not answer ({error}); "
                "look whether the scheduler runs, or leave --scheduler out"
            ) from error
        except ValueError as error:
            raise WrongInput(
                f"--scheduler {scheduler}: no address ({error}); write tcp://host:8786"
            ) from error
        if scheduler is None:
            client.run(_leave_interrupts_to_the_parent)
        yield client
