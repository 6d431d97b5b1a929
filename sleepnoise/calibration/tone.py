"""Calibration from recorded tones: what a sound calibrator left in a sound file.

Levels are unweighted, as calibrators are stated. A tone before the night and one after it show
whether the recorder kept its gain in between.
"""

import hashlib
import math
from pathlib import Path

import numpy as np

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, energy_mean
from sleepnoise.acoustics.source import Source
from sleepnoise.calibration.tone_search import (
    FREQUENCY_TOLERANCE,
    PURE_ABOVE_DB,
    SHORTEST_S,
    SILENT_BELOW_DB,
    Pieces,
    listen,
    loudest_stretch,
    tone_stretches,
)
from sleepnoise.errors import CalibrationError
from sleepnoise.recording.audio_file import open_audio
from sleepnoise.recording.calibration import (
    Calibration,
    InstrumentClass,
    ToneSpan,
    UncertaintyPart,
    expanded_db,
    recorder_part,
    shown_name,
)

ISO_1996_2_CHECKS = Source(
    document="ISO 1996-2:2017",
    place="5.2: checks with a calibrator at the beginning and at the end agree within 0.5 dB, or what "
    "was measured in between is discarded",
    how_known="looked-up",
)

MOST_DRIFT_DB = 0.5
"""Largest difference between the tones before and after, dB. Source: ISO_1996_2_CHECKS."""

TONE_LEVELS_DB = (80.0, 130.0)
"""Levels that a calibrator may be stated to give, dB. Chosen: common ones give 94 to 124 dB."""

TONE_FREQUENCIES_HZ = (200.0, 1250.0)
"""Frequencies that a calibrator may be stated to give, Hz. Chosen: common ones give 250 Hz or 1 kHz."""

STEADY_WITHIN_DB = 0.5
"""Largest spread of the level over the tone, dB. Chosen: a calibrator keeps within 0.2 dB; the rest is for
a recorder's ripple. More means a leaking coupler or an automatic gain."""

CLIPPED_SHARE = 0.10
"""Share of samples within 0.1 % of a peak at full scale above which the tone is clipped. Chosen: a sine
that just reaches it has 2.8 % there (4.2 % if the rate is 48 times its frequency); at 10 % the fundamental
has lost 0.01 dB."""

CUT_SHARE = 0.05
"""Share of their height by which tops may be cut. Chosen: a calibrator's own distortion, up to 3 % (from
memory), may look like that; a sine cut by 7 % does too and has lost 0.2 dB."""

RIVAL_SHARE = 0.5
"""A second tone of another level casts doubt if it is this share of the longest. Chosen: a calibrator
switched to its other level, not the moment of seating it."""

_RECORD_AGAIN = "Record the calibrator again"


def calibration_from_tone(
    path: Path,
    *,
    level_db: float = 94.0,
    frequency_hz: float = 1000.0,
    channel: int = 1,
    recorder_class: InstrumentClass | None = None,
) -> Calibration:
    """Return the calibration that the recording of a calibrator's tone gives.

    Parameters
    ----------
    path : Path
        Made with the same recorder, microphone, channel and gain as the night. It may hold
        other sound as well: the longest stretch of pure tone counts.
    level_db : float, dB re 20 µPa
        What the calibrator gives: 94, 104, 114 or 124 dB as a rule; its certificate may say 93.9.
    frequency_hz : float, Hz
        1000 or 250 as a rule.
    channel : int
        Counted from 1.
    recorder_class : {1, 2} or None
        Class of IEC 61672-1 of microphone and recorder together; None: taken for class 2.

    Returns
    -------
    Calibration

    Raises
    ------
    CalibrationError
        If the file holds no such tone: silent, too short, clipped, impure, of another frequency
        or unsteady; or two that differ.
    RecordingError
        If the file cannot be read.
    """
    _check_stated(level_db, frequency_hz)
    stretch = _the_tone(path, _tones(path, frequency_hz, channel))
    tone = stretch.without_ends()
    parts = (recorder_part(recorder_class),)
    return Calibration(
        pascal_per_full_scale=_pascal(level_db, tone.level_db),
        absolute=True,
        expanded_uncertainty_db=expanded_db(parts),
        origin=f"tone of {level_db:g} dB in {_told(path, tone)}",
        parts=parts,
        frequency_hz=frequency_hz,
        tones=(_span(path, stretch),),
    )


def calibration_from_tones(
    before: Path,
    after: Path,
    *,
    level_db: float = 94.0,
    frequency_hz: float = 1000.0,
    channel: int = 1,
    accept_drift: bool = False,
    recorder_class: InstrumentClass | None = None,
) -> Calibration:
    """Return the calibration that tones before and after the night give: the middle of both.

    Parameters
    ----------
    before, after : Path
        As for :func:`calibration_from_tone`. If they are the same file, its first and its last
        tone count.
    level_db, frequency_hz, channel, recorder_class
        As for :func:`calibration_from_tone`.
    accept_drift : bool
        Take tones that differ by more than ``MOST_DRIFT_DB``. Half of the difference counts
        as uncertainty in any case.

    Raises
    ------
    CalibrationError
        As above; also if the tones differ by too much.
    RecordingError
        If a file cannot be read.
    """
    _check_stated(level_db, frequency_hz)
    ends = _before_and_after(before, after, frequency_hz, channel)
    first, last = (stretch.without_ends() for stretch in ends)
    drift_db = last.level_db - first.level_db
    parts = (recorder_part(recorder_class), _drift_part(drift_db))
    return Calibration(
        pascal_per_full_scale=_pascal(level_db, (first.level_db + last.level_db) / 2),
        absolute=True,
        expanded_uncertainty_db=expanded_db(parts),
        origin=f"tones of {level_db:g} dB before, in {_told(before, first)}, and after, in "
        f"{_told(after, last)}; drift {_signed(drift_db)} dB",
        parts=parts,
        frequency_hz=frequency_hz,
        tones=(_span(before, ends[0]), _span(after, ends[1])),
        drift_db=drift_db,
        remarks=_drift_remarks(before, after, drift_db, accept_drift=accept_drift),
    )


def _signed(change_db: float) -> str:
    """Return a change with its sign, a true minus in front."""
    return f"{change_db:+.2f}".replace("-", "−")


def _pascal(level_db: float, found_db: float) -> float:
    return float(REFERENCE_PRESSURE_PA * 10.0 ** ((level_db - found_db) / 20))


def _told(path: Path, tone: Pieces) -> str:
    return f"{shown_name(path)} ({tone.seconds:g} s at {tone.middle_hz:.1f} Hz, from {tone.start_s:g} s)"


def _span(path: Path, stretch: Pieces) -> ToneSpan:
    with path.open("rb") as file:
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    end_s = stretch.start_s + stretch.seconds
    return ToneSpan(name=shown_name(path), sha256=sha256, start_s=stretch.start_s, end_s=end_s)


def _drift_part(drift_db: float) -> UncertaintyPart:
    return UncertaintyPart(
        what="drift of the gain",
        standard_db=abs(drift_db) / 2 / math.sqrt(3),
        basis=f"anywhere between the tones before and after, which differ by {abs(drift_db):.2f} dB",
    )


def _drift_remarks(before: Path, after: Path, drift_db: float, *, accept_drift: bool) -> tuple[str, ...]:
    if abs(drift_db) <= MOST_DRIFT_DB:
        return ()
    if not accept_drift:
        raise CalibrationError(
            f"{shown_name(before)} and {shown_name(after)}: tones before and after may differ by "
            f"{MOST_DRIFT_DB:g} dB at most ({ISO_1996_2_CHECKS.document}, 5.2), these differ by "
            f"{_signed(drift_db)} dB.",
            remedy="The standard discards such a night: look for a weak battery, a moved gain or a loose "
            "microphone and measure again; or pass --accept-drift, which says it in the report.",
        )
    return (
        f"The gain drifted by {_signed(drift_db)} dB over the night, beyond the {MOST_DRIFT_DB:g} dB at "
        f"which {ISO_1996_2_CHECKS.document}, 5.2, discards what was measured; it was accepted on request.",
    )


def _check_stated(level_db: float, frequency_hz: float) -> None:
    for what, value, (lowest, highest), unit in (
        ("level", level_db, TONE_LEVELS_DB, "dB"),
        ("frequency", frequency_hz, TONE_FREQUENCIES_HZ, "Hz"),
    ):
        if not lowest <= value <= highest:
            raise CalibrationError(
                f"the {what} of a calibration tone must be {lowest:g} to {highest:g} {unit}, got {value:g}.",
                remedy="Give what is printed on the calibrator, such as 94 dB and 1000 Hz.",
            )


def _before_and_after(before: Path, after: Path, frequency_hz: float, channel: int) -> tuple[Pieces, Pieces]:
    first = _tones(before, frequency_hz, channel)
    if not before.samefile(after):
        return _the_tone(before, first), _the_tone(after, _tones(after, frequency_hz, channel))
    if len(first) < 2:
        raise CalibrationError(
            f"{before}: two tones are needed in it, one before and one after the night, got one.",
            remedy="Give the file of the other tone, or leave --tone-after out.",
        )
    for stretch in (first[0], first[-1]):
        _check_tone(before, stretch.without_ends(), frequency_hz)
    return first[0], first[-1]


def _tones(path: Path, frequency_hz: float, channel: int) -> list[Pieces]:
    """Return every stretch of tone in a file; if there is none, say why."""
    pieces = listen(open_audio(path), channel, frequency_hz)
    found = tone_stretches(pieces, frequency_hz)
    if not found:
        _check_any_sound(path, pieces)
        _check_tone(path, loudest_stretch(pieces), frequency_hz)
        raise _too_short(path, loudest_stretch(pieces).seconds)
    _check_tone(path, max(found, key=lambda stretch: stretch.seconds).without_ends(), frequency_hz)
    return found


def _the_tone(path: Path, found: list[Pieces]) -> Pieces:
    """Return the longest stretch, unless another casts doubt on it."""
    longest = max(found, key=lambda stretch: stretch.seconds)
    level_db = longest.without_ends().level_db
    for other in found:
        differs_db = other.without_ends().level_db - level_db
        if abs(differs_db) > STEADY_WITHIN_DB and other.seconds >= RIVAL_SHARE * longest.seconds:
            raise CalibrationError(
                f"{path}: one tone is needed, this holds one of {longest.seconds:g} s from "
                f"{longest.start_s:g} s and one of {other.seconds:g} s from {other.start_s:g} s that "
                f"differs by {differs_db:+.1f} dB.",
                remedy="Cut the file to the tone whose level you state.",
            )
    return longest


def _check_any_sound(path: Path, pieces: Pieces) -> None:
    if pieces.seconds < SHORTEST_S:
        raise _too_short(path, pieces.seconds)
    loudest_db = energy_mean(loudest_stretch(pieces).tone_db)
    if loudest_db < SILENT_BELOW_DB:
        raise CalibrationError(
            f"{path}: is silent; the loudest component reaches {loudest_db:.0f} dB re full scale, "
            f"a tone needs more than {SILENT_BELOW_DB:g}.",
            remedy=f"{_RECORD_AGAIN}, switched on and over the microphone, and choose the channel it is on.",
        )


def _too_short(path: Path, seconds: float) -> CalibrationError:
    return CalibrationError(
        f"{path}: the tone must last at least {SHORTEST_S:g} s without its ends, got {seconds:g} s.",
        remedy=f"{_RECORD_AGAIN} for 10 s or longer.",
    )


def _check_tone(path: Path, tone: Pieces, frequency_hz: float) -> None:
    _check_whole(path, tone)
    above_rest_db = tone.level_db - energy_mean(tone.rest_db)
    if above_rest_db < PURE_ABOVE_DB:
        raise CalibrationError(
            f"{path}: holds no pure tone; the strongest component, at {tone.middle_hz:.0f} Hz, is "
            f"{above_rest_db:.1f} dB above all other sound, {PURE_ABOVE_DB:g} dB are needed.",
            remedy=f"{_RECORD_AGAIN} in a quiet place, with the microphone sealed into it and less gain.",
        )
    if abs(tone.middle_hz / frequency_hz - 1) > FREQUENCY_TOLERANCE:
        raise CalibrationError(
            f"{path}: the tone must be within {FREQUENCY_TOLERANCE:.0%} of {frequency_hz:g} Hz, "
            f"got {tone.middle_hz:.1f} Hz.",
            remedy="Give the frequency printed on the calibrator, or the right file.",
        )
    if tone.spread_db > STEADY_WITHIN_DB:
        raise CalibrationError(
            f"{path}: the tone is unsteady; its level moves by {tone.spread_db:.1f} dB, "
            f"{STEADY_WITHIN_DB:g} dB are allowed.",
            remedy=f"{_RECORD_AGAIN} with the automatic gain off and the microphone seated tightly.",
        )


def _check_whole(path: Path, tone: Pieces) -> None:
    """Refuse a tone whose tops are cut, at full scale or by a stage before it."""
    clipped, cut = float(tone.full_scale_share.max()), float(np.median(tone.cut_share))
    if clipped > CLIPPED_SHARE:
        raise CalibrationError(
            f"{path}: the tone is clipped; {clipped:.0%} of its samples are at full scale, "
            f"{CLIPPED_SHARE:.0%} are allowed.",
            remedy=f"{_RECORD_AGAIN} with less gain (and the night with the same), or at 94 dB.",
        )
    if cut > CUT_SHARE:
        raise CalibrationError(
            f"{path}: the tone is clipped below full scale; its tops are {cut:.0%} lower than a sine's, "
            f"{CUT_SHARE:.0%} are allowed.",
            remedy=f"{_RECORD_AGAIN} at 94 dB, or with less gain at the input (and the night with the same).",
        )
