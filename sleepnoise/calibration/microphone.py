"""What a microphone makes of each frequency, and the correction that undoes it.

Symbols: the response is the level that a microphone gives less the level that it should, dB.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.calibration.columns import Row, read_columns
from sleepnoise.errors import CalibrationError
from sleepnoise.recording.calibration import shown_name

States = Literal["response", "correction"]
"""What the numbers of a file are: the microphone's response, or what is to be added to its levels."""

LARGEST_DB = 20.0
"""Largest response believed, dB. Chosen: further off is a broken microphone or something else."""

FREQUENCIES_HZ = (1.0, 200_000.0)
"""Frequencies believed, Hz. Chosen: beyond them no recorder hears."""

FEWEST_POINTS = 3
"""Fewest frequencies. Chosen: two are a straight line, which no microphone follows."""

MOST_POINTS = 20_000
"""Most frequencies. Chosen: steps of 1 Hz up to 20 kHz."""

AUDIBLE_HZ = (20.0, 20_000.0)
"""A file that covers less is said. Chosen: the mid-bands of the lowest and the highest third octave."""

_WHAT = "the frequency response of a microphone"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MicrophoneResponse:
    """The frequency response of a microphone.

    Attributes
    ----------
    frequency_hz : ndarray, shape (points,), Hz
        Rising, read-only.
    response_db : ndarray, shape (points,), dB
        What the microphone gives too much, read-only.
    origin : str
        Where it came from, for people.
    """

    frequency_hz: FloatArray
    response_db: FloatArray
    origin: str

    def __post_init__(self) -> None:
        for name in ("frequency_hz", "response_db"):
            locked = np.array(getattr(self, name), dtype=np.float64)
            locked.flags.writeable = False
            object.__setattr__(self, name, locked)

    def correction_db(self, frequency_hz: ArrayLike) -> FloatArray:
        """Return what is to be added to a level at each frequency, dB; same shape.

        Between the points it follows a straight line over lg f; beyond them it stays what it is
        at the last one.

        Examples
        --------
        >>> heard = MicrophoneResponse(frequency_hz=[100, 1000, 10000], response_db=[-1, 0, 4], origin="")
        >>> heard.correction_db([20, 100, 1000, 3162.27766, 20000]).round(2).tolist()
        [1.0, 1.0, -0.0, -2.0, -4.0]
        """
        with np.errstate(divide="ignore"):
            place = np.log10(np.asarray(frequency_hz, dtype=np.float64))
        return np.asarray(-np.interp(place, np.log10(self.frequency_hz), self.response_db))

    def relative_to(self, frequency_hz: float) -> "MicrophoneResponse":
        """Return the response that is 0 dB at the frequency at which the gain was found.

        A calibrator's tone has put the microphone right at its own frequency already.
        """
        return MicrophoneResponse(
            frequency_hz=self.frequency_hz,
            response_db=self.response_db + self.correction_db(frequency_hz),
            origin=self.origin,
        )

    @property
    def remarks(self) -> tuple[str, ...]:
        """What people should know about it, in sentences."""
        low_hz, high_hz = float(self.frequency_hz[0]), float(self.frequency_hz[-1])
        if low_hz <= AUDIBLE_HZ[0] and high_hz >= AUDIBLE_HZ[1]:
            return ()
        return (
            f"The microphone's response is known from {low_hz:g} to {high_hz:g} Hz; beyond, it is taken "
            "to stay what it is there.",
        )


def read_microphone_response(path: Path, *, states: States | None) -> MicrophoneResponse:
    """Read a microphone's frequency response from a text file of two columns, Hz and dB.

    Parameters
    ----------
    path : Path
        Rows of frequency and level, frequencies rising; a third column, such as the phase, is
        left aside. Lines with a heading before the numbers and remarks (#) anywhere are skipped.
    states : {"response", "correction"}
        Whether the levels are what the microphone gives too much, or what must be added. Files
        do not tell, and a wrong guess doubles the error: None is refused.

    Raises
    ------
    CalibrationError
        If *states* is None, or the file is no such table; see the constants for what is allowed.
    """
    if states not in get_args(States):
        raise CalibrationError(
            f"{path}: its levels must be said to be the microphone's 'response' or the 'correction' "
            f"to be added, got {states!r}.",
            remedy="Say which, such as --response-means response: with that a microphone that hears "
            "10 kHz too loudly has a positive level there.",
        )
    _, rows = read_columns(path, _WHAT)
    _check_rows(path, rows)
    sign = 1.0 if states == "response" else -1.0
    return MicrophoneResponse(
        frequency_hz=np.array([row.numbers[0] for row in rows]),
        response_db=sign * np.array([row.numbers[1] for row in rows]),
        origin=f"{shown_name(path)}, read as {states}",
    )


def _check_rows(path: Path, rows: list[Row]) -> None:
    if not FEWEST_POINTS <= len(rows) <= MOST_POINTS:
        raise CalibrationError(
            f"{path}: {_WHAT} needs {FEWEST_POINTS} to {MOST_POINTS} rows of frequency and level, "
            f"got {len(rows)}.",
            remedy="Write one pair of numbers a line: frequency in Hz, level in dB.",
        )
    before_hz = 0.0
    for row in rows:
        mistake = _mistake(row, before_hz)
        if mistake:
            raise CalibrationError(
                f"{path}, line {row.line}: {mistake}.",
                remedy="Mend the line: frequency in Hz, rising, and level in dB relative to 1 kHz.",
            )
        before_hz = row.numbers[0]


def _mistake(row: Row, before_hz: float) -> str:
    if len(row.numbers) not in (2, 3):
        return f"a frequency and a level are needed, got {len(row.numbers)} number(s)"
    frequency_hz, level_db = row.numbers[:2]
    if not FREQUENCIES_HZ[0] <= frequency_hz <= FREQUENCIES_HZ[1]:
        lowest_hz, highest_hz = FREQUENCIES_HZ
        return f"a frequency must be {lowest_hz:g} to {highest_hz:g} Hz, got {frequency_hz:g}"
    if frequency_hz <= before_hz:
        return f"frequencies must rise, got {frequency_hz:g} Hz after {before_hz:g} Hz"
    if abs(level_db) > LARGEST_DB:
        return f"a level must be -{LARGEST_DB:g} to {LARGEST_DB:g} dB, got {level_db:g}"
    return ""
