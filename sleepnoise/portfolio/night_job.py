"""What one worker does with one night: claim it, hear it, write it, and say what became of it.

Everything here can be sent to another process or machine by name. All of them see the same
portfolio folder; a recording with an address is copied to the worker's own scratch first.
"""

import os
import shutil
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.record import NightRecord
from sleepnoise.errors import OutputError, RecordingError, SleepNoiseError
from sleepnoise.evidence.durable import held
from sleepnoise.evidence.placing import placed
from sleepnoise.evidence.provenance import file_mark
from sleepnoise.portfolio.addresses import fetched
from sleepnoise.portfolio.ledger import MANIFEST, Cost, Entry, Outcome, Place, State, write_entry
from sleepnoise.portfolio.tables import rows_of
from sleepnoise.portfolio.task import NightTask, fingerprint
from sleepnoise.recording.night_files import SOUND_SUFFIXES

Write = Callable[[NightRecord, Path], None]
"""Writes the results of one night into a folder that it makes; a function with a name, never a lambda."""

LEAST_FREE_BYTES = 32_000_000
"""Room on the disk below which no night is begun. Chosen: several nights' results; hours of listening are not
spent on what cannot be kept."""

THREAD_VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")
"""What numerical libraries look at when they are loaded."""

_MEMORY = "needs more memory than a worker may use."
_ALLOW = "Allow more memory for each worker; fewer workers leave more for each."
_FAULT = "This is a fault of the program. Keep the recording and report the complaint."
_DISK = "Choose a folder you may write to, on a disk with room, then run the same again."


def assess_task(task: NightTask, *, out: Path, write: Write, wait: bool = False) -> Outcome:
    """Assess one night unless that was done before; nothing that goes wrong with it is raised.

    Parameters
    ----------
    task : NightTask
    out : Path
        The portfolio's folder.
    write : Write
    wait : bool, optional
        Whether to wait for a night that another run is at work on, rather than say that it is busy.
    """
    _take_one_thread()
    place = Place(out=out, bedroom=task.bedroom, night=task.night)
    try:
        place.prepare()
        with held(place.claim, tries=None if wait else 1) as mine:
            return _worked_on(task, place, write) if mine else outcome_of(task, "busy")
    except OSError as error:
        return outcome_of(task, "failed", _unwritable(place, error))
    except OutputError as error:
        return outcome_of(task, "failed", error)


def outcome_of(task: NightTask, state: State, error: SleepNoiseError | None = None) -> Outcome:
    """Return what became of a night."""
    return Outcome(
        bedroom=task.bedroom,
        night=task.night,
        state=state,
        complaint=error.complaint if error else "",
        remedy=error.remedy if error else "",
    )


def note_failure(task: NightTask, out: Path, error: SleepNoiseError) -> Outcome:
    """Enter into the ledger, as far as the disk allows, that a night could not be assessed."""
    outcome = outcome_of(task, "failed", error)
    place = Place(out=out, bedroom=task.bedroom, night=task.night)
    try:
        place.prepare()
        write_entry(Entry(outcome=outcome), place)
    except OSError:
        # The disk is full, or gone; whoever started the run is told all the same.
        return outcome
    return outcome


def _worked_on(task: NightTask, place: Place, write: Write) -> Outcome:
    """Work on a night that is claimed."""
    try:
        with fetched(task.recordings) as paths:
            made_from = fingerprint(_sound_files(paths), task.settings)
            if place.finished_before(made_from):
                return outcome_of(task, "skipped")
            return _assessed(task, place, paths, made_from, write)
    except SleepNoiseError as error:
        return note_failure(task, place.out, error)
    except MemoryError:
        return note_failure(
            task, place.out, RecordingError(f"{task.recordings[0]}: {_MEMORY}", remedy=_ALLOW)
        )
    except OSError as error:
        return note_failure(task, place.out, _unwritable(place, error))
    except Exception as error:  # One night must never stop the others, whatever is wrong.
        said = f"{type(error).__name__}: {error}"
        return note_failure(task, place.out, RecordingError(f"{task.recordings[0]}: {said}", remedy=_FAULT))


def _unwritable(place: Place, error: OSError) -> OutputError:
    return OutputError(f"{place.out}: cannot be written ({error.strerror or error}).", remedy=_DISK)


def _assessed(task: NightTask, place: Place, paths: Sequence[Path], made_from: str, write: Write) -> Outcome:
    if shutil.disk_usage(place.out).free < LEAST_FREE_BYTES:
        raise OutputError(f"{place.out}: the disk is full.", remedy=_DISK)
    cpu_s, clock_s = time.process_time(), time.perf_counter()
    record = assess_recording(paths, task.settings)
    with placed(place.results, replace=True) as (unfinished,):
        write(record, unfinished)
        manifest = file_mark(unfinished / MANIFEST, "manifest")
        written_bytes = sum(each.stat().st_size for each in unfinished.iterdir())
    cost = Cost(
        cpu_s=time.process_time() - cpu_s,
        clock_s=time.perf_counter() - clock_s,
        read_bytes=sum(each.size_bytes for each in record.provenance.inputs),
        written_bytes=written_bytes,
    )
    outcome = Outcome(bedroom=task.bedroom, night=task.night, state="finished", cost=cost)
    entry = Entry(
        outcome=outcome, fingerprint=made_from, manifest_sha256=manifest.sha256, rows=rows_of(record)
    )
    write_entry(entry, place)
    return outcome


def _sound_files(paths: Sequence[Path]) -> list[Path]:
    """Return the sound files that will be heard: those given, and those in folders given."""
    found: list[Path] = []
    for path in paths:
        inside = sorted(path.iterdir()) if path.is_dir() else [path]
        found += [each for each in inside if each == path or each.suffix.lower() in SOUND_SUFFIXES]
    return found


def _take_one_thread() -> None:
    """Keep this process to one thread: as many nights as workers are heard at once, and no more."""
    # What is loaded later asks the environment, what is loaded already is told.
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))
    from threadpoolctl import threadpool_limits

    threadpool_limits(limits=1)
