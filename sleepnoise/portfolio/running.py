"""Many nights worked through by a crew: the one path for a machine and for a cluster.

When a worker dies, all nights then at work are suspect. Each is tried once more, alone, with a fresh
crew: the one that kills again is known for sure and noted as failed, the others lose nothing.
"""

from collections import deque
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Future, wait
from functools import partial
from pathlib import Path

from sleepnoise.errors import OutputError, RecordingError
from sleepnoise.portfolio.crews import Crew, unheard
from sleepnoise.portfolio.ledger import Outcome
from sleepnoise.portfolio.night_job import Write, assess_task, note_failure
from sleepnoise.portfolio.task import NightTask


def assess_nights(tasks: Iterable[NightTask], out: Path, write: Write, crew: Crew) -> Iterator[Outcome]:
    """Yield what became of each night, as they get done.

    Parameters
    ----------
    tasks : iterable of NightTask
    out : Path
        The portfolio's folder; every worker must see it at this path.
    write : Write
        Writes the results of a night; must be importable by the workers by its name.
    crew : Crew

    Raises
    ------
    OutputError
        If a cluster is lost altogether. What is done stays done; running again does the rest.
    """
    out = out.resolve()
    busy: deque[NightTask] = deque()
    queue = deque(tasks)
    by_name = {(task.bedroom, task.night): task for task in queue}
    for outcome in work_through(queue, partial(_job, out, write, False), out, crew):
        if outcome.state == "busy":
            # Another run has it in its hands: first do what nobody does.
            busy.append(by_name[outcome.bedroom, outcome.night])
        else:
            yield outcome
    yield from work_through(busy, partial(_job, out, write, True), out, crew)


def _job(out: Path, write: Write, wait_for_it: bool, task: NightTask) -> Outcome:
    return assess_task(task, out=out, write=write, wait=wait_for_it)


Job = partial[Outcome]


def work_through(queue: deque[NightTask], job: Job, out: Path, crew: Crew) -> Iterator[Outcome]:
    """Yield what a job makes of each night of a queue, which is emptied, however often workers die."""
    while queue:
        suspects = yield from _together(queue, job, out, crew, alone=False)
        for task in suspects:
            if (yield from _together(deque([task]), job, out, crew, alone=True)):
                yield _died(task, out)


def _died(task: NightTask, out: Path) -> Outcome:
    error = RecordingError(
        f"{task.recordings[0]}: the worker that heard it died, twice or more.",
        remedy="Most often memory ran out: use fewer workers. Otherwise assess this night by itself.",
    )
    return note_failure(task, out, error)


def _together(
    queue: deque[NightTask], job: Job, out: Path, crew: Crew, *, alone: bool
) -> Generator[Outcome, None, list[NightTask]]:
    """Work on a queue until it is empty or a worker dies; return the nights that were then at work."""
    running: dict[Future[Outcome], NightTask] = {}
    with crew.hands() as (executor, most):
        try:
            while queue or running:
                while queue and len(running) < (1 if alone else most()):
                    # Submitting starts workers, and the thread that starts later ones.
                    with unheard("SIGINT"):
                        running[executor.submit(job, queue[0])] = queue[0]
                    queue.popleft()
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    outcome = _result(future, running[future], out, crew)
                    del running[future]
                    yield outcome
        except BrokenExecutor:
            suspects = [task for future, task in running.items() if _lost(future)]
            yield from (future.result() for future in running if not _lost(future))
            return suspects
        finally:
            for future in running:
                future.cancel()
    return []


def _lost(future: Future[Outcome]) -> bool:
    return not future.done() or future.cancelled() or future.exception() is not None


def _result(future: Future[Outcome], task: NightTask, out: Path, crew: Crew) -> Outcome:
    try:
        return future.result()
    except crew.deaths:
        return _died(task, out)
    except CancelledError:
        raise OutputError(
            "cluster: the connection was lost before all nights were done.",
            remedy="Start the cluster again, then run the same once more: what is done stays done.",
        ) from None
