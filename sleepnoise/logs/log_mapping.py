"""Which column of an instrument's table is which level: told by the user, never guessed.

A mapping is a handful of ``key = value`` pairs, as options or in a TOML file. Keys are the
levels (``laeq``, ``lafmax``, ``la90`` ...), third octaves by their nominal frequency (``50``,
``31.5``), and a few settings that say how the table is written.
"""

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from stat import S_ISREG

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_label
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.errors import SettingsError

SHORTEST_STEP_S, LONGEST_STEP_S = 0.1, 900.0
"""Steps of a log, s. Chosen: what instruments write, from ten rows a second to one a quarter of an hour."""

LARGEST_MAPPING_BYTES = 100_000
"""A mapping is written by hand; anything larger is some other file. Chosen: far above one line a band."""

LARGEST_OFFSET_H = 14
"""Largest offset of a clock from UTC, h. Chosen: no zone on Earth goes further."""

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
"""Separators by the name that one may give instead."""

LEVELS = tuple(name for name in SYMBOLS if name != "lae")
"""Levels that a column may hold, by their names in code."""

SETTINGS = (
    "time", "date", "time_format", "clock", "stamp", "start", "step_s", "bands",
    "separator", "decimal", "encoding", "missing",
)  # fmt: skip
"""Keys that are no level."""

_BY_LABEL = {band_label(hz): hz for hz in NOMINAL_HZ}
_PLACE = re.compile(r"#([1-9]\d{0,3})", re.ASCII)
_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)", re.ASCII)
_WHERE = "column mapping"


@dataclass(frozen=True, slots=True, kw_only=True)
class LogMapping:
    """How to read one instrument's table.

    A column is named by its head, or by its place as ``#1``, ``#2`` ...

    Attributes
    ----------
    levels : dict of str to str
        Columns by level, such as ``{"laeq": "LAeq [dB]"}``.
    bands : dict of float to str
        Columns of unweighted third octaves by nominal frequency, Hz.
    band_pattern : str
        Head of every band's column with ``{hz}`` for its frequency; empty if there is none.
    time, date : str
        Columns of the time stamp; the date only if it stands apart. Empty without.
    time_format : str
        Of date and time together, as ``strptime`` knows it; empty for ISO 8601.
    clock : timezone or None
        Fixed offset of the instrument's clock; None if it showed the local time of the place.
    stamp_at_end : bool
        Whether a row's time is that of its end.
    start : str
        Date and time of the first row, if there is no time column.
    step_s : float or None, s
        Length of a row.
    separator, decimal, encoding : str
        Empty to find out, and tell.
    missing : tuple of str
        More words that stand for no value.
    """

    levels: dict[str, str]
    bands: dict[float, str]
    band_pattern: str = ""
    time: str = ""
    date: str = ""
    time_format: str = ""
    clock: timezone | None = None
    stamp_at_end: bool = False
    start: str = ""
    step_s: float | None = None
    separator: str = ""
    decimal: str = ""
    encoding: str = ""
    missing: tuple[str, ...] = ()

    @property
    def named(self) -> dict[str, str]:
        """Every column that was asked for, by its key: ``time``, ``date``, levels and band labels."""
        stamps = {"time": self.time, "date": self.date}
        by_label = {band_label(hz): column for hz, column in self.bands.items()}
        return {key: column for key, column in (stamps | self.levels | by_label).items() if column}


def place_of(column: str) -> int | None:
    """Return the place, from 0, of a column that is named by it; None if it is named by its head.

    Examples
    --------
    >>> place_of("#2"), place_of("#dB")
    (1, None)
    """
    found = _PLACE.fullmatch(column)
    return int(found[1]) - 1 if found else None


def read_log_mapping(options: Iterable[str] = (), path: str | Path | None = None) -> LogMapping:
    """Return the mapping that options and a TOML file give together; options win.

    Parameters
    ----------
    options : iterable of str
        Such as ``"laeq=LAeq [dB]"``, ``"50=LZeq 50 Hz"`` or ``"decimal=,"``.
    path : str or Path, optional
        TOML file with the same keys.

    Raises
    ------
    SettingsError
        Naming the key that is wrong.

    Examples
    --------
    >>> read_log_mapping(["time=Time", "LAeq=Level", "31.5=B3"]).named
    {'time': 'Time', 'laeq': 'Level', '31.5': 'B3'}
    """
    given = {} if path is None else _of_file(Path(path))
    for option in options:
        key, equals, value = option.partition("=")
        if not equals:
            raise SettingsError(
                f"{_WHERE}: needs KEY=COLUMN, got {option!r:.80}.", remedy="Write it like laeq='LAeq [dB]'."
            )
        given[key.strip()] = value.strip()
    return mapping_of(given)


def mapping_of(given: Mapping[str, str]) -> LogMapping:
    """Return the mapping of plain pairs; see :func:`read_log_mapping`."""
    by_key = {_key(key): _printable(key, value) for key, value in given.items()}
    levels = {key: by_key[key] for key in by_key if key in LEVELS}
    bands = {_BY_LABEL[key]: by_key[key] for key in by_key if key in _BY_LABEL}
    mapping = LogMapping(
        levels=levels,
        bands=dict(sorted(bands.items())),
        band_pattern=by_key.get("bands", ""),
        time=by_key.get("time", ""),
        date=by_key.get("date", ""),
        time_format=_time_format(by_key.get("time_format", "")),
        clock=_clock(by_key.get("clock", "")),
        stamp_at_end=_one_of(by_key, "stamp", ("start", "end"), "start") == "end",
        start=by_key.get("start", ""),
        step_s=_step(by_key.get("step_s", "")),
        separator=_separator(by_key.get("separator", "")),
        decimal=_one_of(by_key, "decimal", (".", ","), ""),
        encoding=_encoding(by_key.get("encoding", "")),
        missing=tuple(by_key.get("missing", "").split()),
    )
    _check_together(mapping)
    return mapping


def _of_file(path: Path) -> dict[str, str]:
    try:
        if not S_ISREG(path.stat().st_mode):
            raise ValueError("it is no plain file")
        with path.open("rb") as file:
            raw = file.read(LARGEST_MAPPING_BYTES + 1)
        if len(raw) > LARGEST_MAPPING_BYTES:
            raise ValueError("it is too large for a mapping")
        table = tomllib.loads(raw.decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise SettingsError(
            f"{path}: cannot be read as a column mapping ({why!s:.200}).",
            remedy='Write one line for each column, such as laeq = "LAeq [dB]".',
        ) from None
    for key, value in table.items():
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise SettingsError(
                f"{path}: {key!r:.60} must be a text or a number.",
                remedy='Write one line for each column; put a dot in quotes: "31.5" = "LZeq 31.5 Hz".',
            )
    return {key: str(value) for key, value in table.items()}


def _key(key: str) -> str:
    plain = key.strip().casefold()
    if plain in LEVELS or plain in SETTINGS or plain in _BY_LABEL:
        return plain
    raise SettingsError(
        f"{_WHERE}: {key!r:.60} is neither a level ({', '.join(LEVELS)}), nor a third octave from "
        f"20 to 20000, nor a setting ({', '.join(SETTINGS)}).",
        remedy="Leave columns out that are none of these.",
    )


def _printable(key: str, value: str) -> str:
    if value and (value.isprintable() or (key.strip() == "separator" and value == "\t")):
        return value
    raise SettingsError(
        f"{_WHERE}: {key} needs a value of printable characters, got {value!r:.60}.",
        remedy="Copy the head of the column, or give its place as #1, #2 ...",
    )


def _one_of(by_key: Mapping[str, str], key: str, allowed: tuple[str, ...], default: str) -> str:
    value = by_key.get(key, default)
    if value != default and value not in allowed:
        raise SettingsError(
            f"{_WHERE}: {key} must be {' or '.join(map(repr, allowed))}, got {value!r:.60}.",
            remedy="Choose one of them.",
        )
    return value


def _separator(text: str) -> str:
    separator = SEPARATORS.get(text, text)
    if separator and separator not in SEPARATORS.values():
        raise SettingsError(
            f"{_WHERE}: separator must be {', '.join(SEPARATORS)} or the sign itself, got {text!r:.60}.",
            remedy="Look into the file with a text editor.",
        )
    return separator


def _encoding(text: str) -> str:
    try:
        b"a".decode(text or "utf-8", errors="ignore")
    except (LookupError, ValueError):
        raise SettingsError(
            f"{_WHERE}: there is no text encoding {text!r:.60}.", remedy="Write utf-8, utf-16 or cp1252."
        ) from None
    return text


def _time_format(text: str) -> str:
    try:
        datetime.strptime("", text)
    except ValueError:
        # Nothing is no time; a directive that does not exist is told with the first row.
        return text
    except re.error as error:
        raise SettingsError(
            f"{_WHERE}: time_format cannot be used ({error!s:.80}), got {text!r:.60}.",
            remedy="Name each part of a time once, such as time_format='%d.%m.%Y %H:%M:%S'.",
        ) from None
    return text


def _step(text: str) -> float | None:
    if not text:
        return None
    try:
        step_s = float(text)
    except ValueError:
        step_s = float("nan")
    if not SHORTEST_STEP_S <= step_s <= LONGEST_STEP_S:
        raise SettingsError(
            f"{_WHERE}: step_s must be {SHORTEST_STEP_S:g} to {LONGEST_STEP_S:g} s, got {text!r:.60}.",
            remedy="Give the length of one row in seconds.",
        )
    return step_s


def _clock(text: str) -> timezone | None:
    if not text:
        return None
    match = _OFFSET.fullmatch("+00:00" if text in ("UTC", "Z") else text)
    minutes = 60 * int(match[2]) + int(match[3]) if match else None
    if match is None or minutes is None or minutes > 60 * LARGEST_OFFSET_H:
        raise SettingsError(
            f"{_WHERE}: clock must be UTC or an offset from it such as +01:00, got {text!r:.60}.",
            remedy="Leave it out if the instrument showed the local time of the place.",
        )
    return timezone(timedelta(minutes=-minutes if match[1] == "-" else minutes))


def _check_together(mapping: LogMapping) -> None:
    """Refuse what does not make a table of levels in time."""
    for holds, mistake, remedy in (
        (
            mapping.levels or mapping.bands or mapping.band_pattern,
            "no column of levels is named",
            "Name at least one, such as laeq='LAeq [dB]'.",
        ),
        (
            mapping.time or (mapping.start and mapping.step_s),
            "neither a time column nor start and step_s are given",
            "Give time=COLUMN, or start=2026-01-14T23:00:00 and step_s=1.",
        ),
        (
            not (mapping.time and mapping.start),
            "both a time column and a start are given",
            "Leave one of them out.",
        ),
        (mapping.time or not mapping.date, "a date column needs a time column", "Name both."),
        (
            not mapping.band_pattern or "{hz}" in mapping.band_pattern,
            "bands must hold {hz} where the frequency stands",
            "Write it like bands='LZeq {hz} Hz'.",
        ),
    ):
        if not holds:
            raise SettingsError(f"{_WHERE}: {mistake}.", remedy=remedy)
