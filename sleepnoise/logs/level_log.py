"""Level logs: time histories that a sound level meter wrote itself.

Rows become steps of an even grid in UTC. What is missing stays a gap, what comes twice counts
once, and local times are followed through clock changes; where a time could be two instants,
or the clock did not do what the zone says, the log is refused with what would settle it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_label
from sleepnoise.errors import RecordingError, StartTimeError
from sleepnoise.formats.decoding import check_regular
from sleepnoise.logs.log_mapping import LONGEST_STEP_S, SHORTEST_STEP_S, LogMapping
from sleepnoise.logs.log_table import MOST_ROWS, LogTable, TableReading, parquet_blocks
from sleepnoise.logs.log_text import text_blocks
from sleepnoise.recording.calibration import shown_name
from sleepnoise.recording.clock import instant_of, zone_named

STEP_AGREES = 0.01
"""Share by which a given step may differ from that of the time stamps. Chosen: above any clock's drift."""

TELLING_SHARE = 0.99
"""Share of time stamps that must differ from the one before. Chosen: a few rows may come twice; more means
that the stamps are coarser than the step."""

CONTIGUOUS_STEPS = 1.5
"""Time stamps closer than this follow each other directly, steps. Chosen: nothing fits between them."""

CHANGES_MIN = 15
"""Clocks change at multiples of this, min. Chosen: true of all zones in the years believed."""

PARQUET_ENDINGS = (".parquet", ".pq")

_US = 1_000_000
"""Microseconds in a second. Source: the SI."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
"""Where instants are counted from. Chosen: any would do; numpy counts from it too."""

Instants = NDArray[np.int64]
"""Microseconds after 1970-01-01, UTC."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelLog:
    """What an instrument logged, on an even grid of time.

    Attributes
    ----------
    name : str
        Of the file.
    start : datetime
        UTC instant at which the first step begins.
    step : timedelta
    zone : str
        IANA name of the zone that people at the place live in.
    columns : dict of str to ndarray, shape (steps,), float32, dB
        By level, such as ``"laeq"``; ``nan`` is a gap.
    nominal_hz : tuple of float
        Third octaves that were logged, rising.
    bands : ndarray, shape (bands, steps), float32, dB
        Equivalent third-octave levels, taken as unweighted.
    remarks : tuple of str
        How the file was understood, and what was wrong with it, for people.
    """

    name: str
    start: datetime
    step: timedelta
    zone: str
    columns: dict[str, NDArray[np.float32]]
    nominal_hz: tuple[float, ...]
    bands: NDArray[np.float32]
    remarks: tuple[str, ...]

    @property
    def steps(self) -> int:
        """Number of steps."""
        return int(self.bands.shape[1])

    @property
    def step_s(self) -> float:
        """Length of a step, s."""
        return self.step.total_seconds()

    @property
    def end(self) -> datetime:
        """Instant at which the last step ends, UTC."""
        return self.start + self.steps * self.step


def read_level_log(path: str | Path, mapping: LogMapping, *, zone: str | None) -> LevelLog:
    """Read a level log from a CSV or Parquet file.

    Parameters
    ----------
    path : str or Path
        A name in .parquet or .pq is Parquet, everything else text.
    mapping : LogMapping
        Which column holds what.
    zone : str or None
        IANA name of the zone of the place.

    Returns
    -------
    LevelLog

    Raises
    ------
    RecordingError
        If the file cannot be read, lacks a column or holds something that is no level.
    StartTimeError
        If its times cannot be told.
    """
    path = Path(path)
    if zone is None:
        raise StartTimeError(
            f"{path}: the time zone must be given; a log does not tell it.",
            remedy="Give the place's zone as region and city, such as --zone Europe/Vienna.",
        )
    place = zone_named(zone, str(path))
    table = _table(path, mapping)
    instants, told = _instants(path, mapping, table, place)
    return _on_grid(path, mapping, table, instants, place.key, told)


def _table(path: Path, mapping: LogMapping) -> LogTable:
    check_regular(path, "level log")
    reading = TableReading(path=path, mapping=mapping)
    blocks = parquet_blocks if path.suffix.lower() in PARQUET_ENDINGS else text_blocks
    try:
        for numbers, cells in blocks(reading):
            reading.take(numbers, cells)
    except OSError as error:
        raise RecordingError(
            f"{path}: cannot be read ({error.strerror or error}).", remedy="Check the path."
        ) from None
    except UnicodeError:
        raise RecordingError(
            f"{path}: is not {reading.encoding} text throughout.",
            remedy="Give its encoding, such as encoding=cp1252.",
        ) from None
    return reading.table()


# Time stamps as instants.


def _instants(path: Path, mapping: LogMapping, table: LogTable, zone: ZoneInfo) -> tuple[Instants, str]:
    """Return when each row begins or, if stamps are those of the end, ends, and where that came from."""
    if table.local_us is None:
        first = _given_start(path, mapping, zone)
        step_us = round((mapping.step_s or 0) * _US)
        rows = np.arange(table.rows.size, dtype=np.int64)
        return first + step_us * rows, "times: counted from the start that was given, no gap can be seen"
    if table.offset_us is not None:
        return table.local_us - table.offset_us, "times: by their own offset from UTC"
    if mapping.clock is not None:
        offset_us = int(mapping.clock.utcoffset(None) / timedelta(microseconds=1))
        return table.local_us - offset_us, f"times: by a clock at {mapping.clock}"
    return _followed(path, table, zone), f"times: local in {zone.key}"


def _given_start(path: Path, mapping: LogMapping, zone: ZoneInfo) -> int:
    try:
        moment = datetime.fromisoformat(mapping.start)
    except ValueError:
        raise StartTimeError(
            f"{path}: the start must be an ISO 8601 date and time, got {mapping.start!r:.60}.",
            remedy="Give it such as start=2026-03-05T23:00:00, with an offset (+01:00) if in doubt.",
        ) from None
    if moment.tzinfo is None and mapping.clock is not None:
        moment = moment.replace(tzinfo=mapping.clock)
    if moment.tzinfo is None:
        moment = instant_of(moment, zone, f"{path}: the start", "start=")
    return (moment - _EPOCH) // timedelta(microseconds=1)


def _followed(path: Path, table: LogTable, zone: ZoneInfo) -> Instants:
    """Return local times as instants, following the clock through its changes by the order of rows."""
    assert table.local_us is not None
    first, second = _offsets(table.local_us, zone)
    skipped = np.flatnonzero(first < second)
    if skipped.size:
        raise _no_instant(path, table, int(skipped[0]), zone, "never happened", "")
    instants = table.local_us - first
    twice = np.flatnonzero(np.diff(first != second, prepend=False, append=False)).reshape(-1, 2)
    for begin, end in twice.tolist():
        later = _second_pass(path, table, instants, second, (begin, end), zone)
        instants[later:end] = table.local_us[later:end] - second[later:end]
    return np.asarray(instants)


def _offsets(local_us: Instants, zone: ZoneInfo) -> tuple[Instants, Instants]:
    """Return the offsets from UTC, µs, that local times have if they are the first, or second, alike."""
    slot_us = CHANGES_MIN * 60 * _US
    slots, places = np.unique(local_us // slot_us, return_inverse=True)
    offsets = np.empty((2, slots.size), dtype=np.int64)
    for place, slot in enumerate(slots.tolist()):
        local = _EPOCH + timedelta(microseconds=slot * slot_us)
        for fold in (0, 1):
            offset = local.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta()
            offsets[fold, place] = offset // timedelta(microseconds=1)
    return offsets[0][places], offsets[1][places]


def _second_pass(
    path: Path, table: LogTable, instants: Instants, second: Instants, rows: tuple[int, int], zone: ZoneInfo
) -> int:
    """Return the first of some rows with ambiguous times that belongs to the second pass of the clock."""
    local_us = table.local_us
    assert local_us is not None
    begin, end = rows
    back = np.flatnonzero(np.diff(local_us[begin:end]) < 0)
    if back.size:
        return begin + int(back[0]) + 1
    near_us = CONTIGUOUS_STEPS * float(np.median(np.abs(np.diff(local_us)))) if local_us.size > 1 else 0.0
    after_first = begin > 0 and instants[begin] - instants[begin - 1] <= near_us
    last_us = local_us[end - 1] - second[end - 1]
    before_second = end < local_us.size and instants[end] - last_us <= near_us
    if after_first == before_second:
        why = ", yet the log passed it once" if after_first else ""
        raise _no_instant(path, table, begin, zone, "happened twice", why)
    return end if after_first else begin


def _no_instant(path: Path, table: LogTable, row: int, zone: ZoneInfo, how: str, why: str) -> StartTimeError:
    assert table.local_us is not None
    local = (_EPOCH + timedelta(microseconds=int(table.local_us[row]))).replace(tzinfo=None)
    return StartTimeError(
        f"{path}, row {table.rows[row]}: the time {local.isoformat(sep=' ')} {how} in {zone.key}, "
        f"where clocks were changed then{why}.",
        remedy="If the instrument's clock was not changed, give its offset from UTC, such as clock=+01:00; "
        "or export times with their offset.",
    )


# Rows on a grid.


def _on_grid(
    path: Path, mapping: LogMapping, table: LogTable, instants: Instants, zone: str, told: str
) -> LevelLog:
    backwards = np.flatnonzero(np.diff(instants) < 0)
    if backwards.size:
        raise StartTimeError(
            f"{path}, row {table.rows[backwards[0] + 1]}: the time lies before that of the row above.",
            remedy="Sort the rows by time, and give one log at a time.",
        )
    step_us = _step_us(path, mapping, instants)
    places = np.rint((instants - instants[0]) / step_us).astype(np.int64)
    steps = int(places[-1]) + 1
    if steps > MOST_ROWS:
        raise RecordingError(
            f"{path}: spans {steps} steps of {step_us / _US:g} s, {MOST_ROWS} are allowed.",
            remedy="Cut out one night; look for a wrong date among the times.",
        )
    fill, doubles = _filling(places, steps)
    columns = {key: fill(values) for key, values in table.levels.items()}
    labels = {band_label(hz): hz for hz in NOMINAL_HZ}
    bands = {labels[key]: columns.pop(key) for key in list(columns) if key in labels}
    beside_us = int(np.abs(instants - instants[0] - places * step_us).max())
    start_us = int(instants[0]) - (step_us if mapping.stamp_at_end else 0)
    return LevelLog(
        name=shown_name(path),
        start=_EPOCH + timedelta(microseconds=start_us),
        step=timedelta(microseconds=step_us),
        zone=zone,
        columns=columns,
        nominal_hz=tuple(sorted(bands)),
        bands=np.array([bands[hz] for hz in sorted(bands)], dtype=np.float32).reshape(-1, steps),
        remarks=(
            *table.remarks,
            f"{told}; a row's time is that of its {'end' if mapping.stamp_at_end else 'start'}",
            *(["third octaves: taken as equivalent levels without weighting"] if bands else []),
            *_flaws(steps, step_us, int(np.unique(places).size), doubles, beside_us),
        ),
    )


def _step_us(path: Path, mapping: LogMapping, instants: Instants) -> int:
    """Return the step, µs: that between most rows, which a given one must agree with."""
    apart = np.diff(instants)
    forward = apart[apart > 0]
    given_us = None if mapping.step_s is None else round(mapping.step_s * _US)
    if not forward.size:
        if given_us is None or instants.size > 1:
            raise StartTimeError(
                f"{path}: its times do not tell how long a row lasts.",
                remedy="Give start and step_s instead of the time column.",
            )
        return given_us
    if forward.size < TELLING_SHARE * apart.size - 1:
        raise StartTimeError(
            f"{path}: {apart.size - forward.size} rows have the same time as the one above; "
            "the times are coarser than the step.",
            remedy="Export times with fractions of a second, or give start and step_s instead of them.",
        )
    # Whole milliseconds, because stamps with fractions scatter.
    step_us = max(round(float(np.median(forward)) / 1000), 1) * 1000
    if given_us is not None and abs(step_us / given_us - 1) > STEP_AGREES:
        raise StartTimeError(
            f"{path}: its rows are {step_us / _US:g} s apart, but a step of {given_us / _US:g} s was given.",
            remedy="Leave step_s out, or leave the time column out and give the start.",
        )
    if not SHORTEST_STEP_S * _US <= step_us <= LONGEST_STEP_S * _US:
        raise StartTimeError(
            f"{path}: its rows are {step_us / _US:g} s apart; "
            f"{SHORTEST_STEP_S:g} to {LONGEST_STEP_S:g} s are allowed.",
            remedy="Export the log with another step.",
        )
    return step_us


def _filling(
    places: NDArray[np.int64], steps: int
) -> tuple[Callable[[NDArray[np.float32]], NDArray[np.float32]], int]:
    """Return what puts a column on the grid, and how many rows come on top of another.

    Where rows of one step differ nobody knows which is right: the step becomes a gap.
    """
    again = np.flatnonzero(np.diff(places) == 0) + 1

    def fill(values: NDArray[np.float32]) -> NDArray[np.float32]:
        column = np.full(steps, np.nan, dtype=np.float32)
        column[places] = values
        same = (values[again] == values[again - 1]) | (np.isnan(values[again]) & np.isnan(values[again - 1]))
        column[places[again[~same]]] = np.nan
        column.flags.writeable = False
        return column

    return fill, int(again.size)


def _flaws(steps: int, step_us: int, filled: int, doubles: int, beside_us: int) -> tuple[str, ...]:
    """Return what is wrong with a log, in words."""
    step_s = step_us / _US
    flaws = {
        f"{steps - filled} of {steps} steps of {step_s:g} s are missing": steps > filled,
        f"{doubles} rows come twice; where they differ the step counts as missing": doubles > 0,
        f"rows lie up to {beside_us / _US:.3g} s beside an even step of {step_s:g} s": beside_us
        > step_us / 100,
    }
    return (f"step: {step_s:g} s", *(flaw for flaw, found in flaws.items() if found))
