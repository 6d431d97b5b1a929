"""Who does the work: processes of this machine, or a cluster at an address; both are executors.

Processes are started afresh (never forked), see that their parent lives, are replaced after some
nights, and may be held to an amount of memory. On a cluster all this is for the cluster to say.
"""

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import partial
from multiprocessing import active_children, get_context, parent_process
from multiprocessing.connection import wait
from types import FrameType

from sleepnoise.errors import SettingsError

NIGHTS_EACH = 50
"""Nights after which a worker is replaced. Chosen: whatever memory it has not given back goes with it, and
starting costs a second."""

BYTES_PER_MB = 1_000_000
"""Bytes of a megabyte. Source: SI prefix."""

CONNECT_S = 20.0
"""Time to reach a cluster, s. Chosen: a slow network, but not a coffee."""

AHEAD = 2
"""Nights sent to a cluster for each of its threads. Chosen: one at work, one on its way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """Those who do the work.

    Attributes
    ----------
    hands : callable
        Gives, for a ``with`` statement, an executor and a function that returns how many nights may be in
        its hands at once; asked again after a worker has died.
    deaths : tuple of exception types
        What a night raises whose workers died repeatedly, if the executor tells that of one night alone.
    """

    hands: Callable[[], AbstractContextManager[tuple[Executor, Callable[[], int]]]]
    deaths: tuple[type[BaseException], ...] = ()


def local_crew(workers: int, memory_mb: float | None = None) -> Crew:
    """Return processes of this machine.

    Parameters
    ----------
    workers : int
        At least one.
    memory_mb : float, MB, optional
        Most memory of each for its data; a night that needs more fails. Where the system cannot
        hold a process to it (other than Linux), it is not held.

    Raises
    ------
    SettingsError
        If one of them makes no sense.
    """
    if workers < 1:
        raise SettingsError(f"workers: must be at least 1, got {workers}.", remedy="Give for example 2.")
    if memory_mb is not None and memory_mb <= 0:
        raise SettingsError(
            f"memory: must be more than 0 MB, got {memory_mb:g}.", remedy="Give for example 2000."
        )
    limit = None if memory_mb is None else round(memory_mb * BYTES_PER_MB)
    return Crew(hands=partial(_pool, workers, limit))


@contextmanager
def _pool(workers: int, memory_bytes: int | None) -> Iterator[tuple[Executor, Callable[[], int]]]:
    with ProcessPoolExecutor(
        max_workers=workers,
        mp_context=get_context("spawn"),
        initializer=_begin,
        initargs=(memory_bytes,),
        max_tasks_per_child=NIGHTS_EACH,
    ) as executor:
        try:
            yield executor, lambda: workers
        except BaseException:
            # Whoever interrupts does not want to wait for nights to end.
            for worker in active_children():
                worker.terminate()
            raise


@contextmanager
def unheard(*signals: str) -> Iterator[None]:
    """Keep signals from whatever is started meanwhile; what came to this process comes afterwards.

    An interrupt from a terminal goes to all processes at once, and workers have no say in it: the one
    that started them tells them to end.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {getattr(signal, name) for name in signals})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin(memory_bytes: int | None) -> None:
    """Begin a worker: it ends with its parent, and takes no more memory than it may."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _leave)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if memory_bytes is not None and sys.platform == "linux":
        import resource

        resource.setrlimit(resource.RLIMIT_DATA, (memory_bytes, memory_bytes))


def _leave(_number: int, _frame: FrameType | None) -> None:
    """Leave by way of every clean-up."""
    raise SystemExit


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def cluster_crew(address: str) -> Crew:
    """Return the workers of a Dask cluster, which must see the same files at the same paths.

    Parameters
    ----------
    address : str
        Of its scheduler, such as ``tcp://10.0.0.5:8786``.

    Raises
    ------
    SettingsError
        If the package is not installed; when hands are asked for, if nobody answers.
    """
    try:
        from distributed import Client
        from distributed.scheduler import KilledWorker
    except ImportError:
        raise SettingsError(
            "cluster: needs the package distributed, which is not installed.",
            remedy="Install it with: pip install 'sleepnoise[cluster]'.",
        ) from None

    @contextmanager
    def hands() -> Iterator[tuple[Executor, Callable[[], int]]]:
        try:
            client = Client(address, timeout=CONNECT_S)
        except (OSError, ValueError, TimeoutError) as error:
            raise SettingsError(
                f"cluster: nobody answers at {address} ({str(error) or type(error).__name__}).",
                remedy="Check that the scheduler runs, and its address.",
            ) from None
        with client, client.get_executor() as executor:
            yield executor, lambda: AHEAD * max(1, sum(map(int, client.nthreads().values())))

    return Crew(hands=hands, deaths=(KilledWorker,))
