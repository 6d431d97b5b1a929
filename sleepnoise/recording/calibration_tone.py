"""Calibration from a recorded tone: what a sound calibrator left in a sound file.

The file is read in pieces of a quarter of a second. Each piece says how strong its strongest
component is, at which frequency, and how much sound is left beside it. The longest stretch as
loud as the loudest two seconds is the tone; its ends, where the calibrator was put on and
taken off, are dropped. Levels are unweighted, as calibrators are stated.

Symbols: levels here are dB re full scale, a full-scale mean square being 0 dB.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray, energy_mean, pressure_level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.errors import CalibrationError
from sleepnoise.recording.audio_file import AudioFile, open_audio, read_blocks
from sleepnoise.recording.calibration import UNCERTAINTY_BY_TONE_DB, Calibration

PIECES_PER_SECOND = 4
"""Pieces a second. Chosen: bins of 4 Hz tell 250 Hz from its neighbours, and a handling knock spoils few."""

LOBE_BINS = 5
"""Bins on either side that belong to a tone. Chosen: a Hann window keeps all but 1e-6 of it in them."""

LOWEST_HZ = 100.0
"""Sound below is ignored, Hz. Chosen: handling, rumble and offset lie below, every calibrator above."""

TONE_LEVELS_DB = (80.0, 130.0)
"""Levels that a calibrator may be stated to give, dB. Chosen: common ones give 94 to 124 dB."""

TONE_FREQUENCIES_HZ = (200.0, 1250.0)
"""Frequencies that a calibrator may be stated to give, Hz. Chosen: common ones give 250 Hz or 1 kHz."""

FREQUENCY_TOLERANCE = 0.02
"""Largest departure from the stated frequency. Chosen: calibrators keep within 1 %,
and a recorder's clock adds little."""

SHORTEST_S = 2.0
"""Shortest tone taken, s. Chosen: eight pieces; less cannot show whether the level is steady."""

LONGEST_S = 600.0
"""Longest file taken, s. Chosen: tones last a minute; a longer file is the night itself, given by mistake."""

ALIKE_DB = 6.0
"""Pieces this close to the loudest belong to the tone, dB. Chosen: far more than any drift,
which is judged apart."""

DROPPED_SHARE = 1 / 8
"""Share of the tone dropped at each end. Chosen: the seconds in which a calibrator is seated and let go."""

SILENT_BELOW_DB = -80.0
"""Level below which nothing was recorded, dB re full scale. Chosen: a tone
that can be used is at -60 dB or more."""

PURE_ABOVE_DB = 20.0
"""How far the tone must stand above all other sound, dB. Chosen: 10 % of distortion and noise, far beyond a
working calibrator and microphone, yet less than 0.05 dB of error."""

STEADY_WITHIN_DB = 0.5
"""Largest spread of the level over the tone, dB. Chosen: a calibrator keeps within 0.2 dB; the rest is for
a recorder's ripple. More means a leaking coupler or an automatic gain."""

FULL_SCALE_REACHED = 0.999
"""Sample value taken for full scale. Chosen: 33 steps of 16 bit below the top."""

CLIPPED_SHARE = 0.10
"""Share of samples within 0.1 % of a peak at full scale above which the tone is clipped. Chosen: a sine
that just reaches it has 2.8 % there (4.2 % if the rate is 48 times its frequency); at 10 % the fundamental
has lost 0.01 dB."""

_ANY_INSTANT = datetime(2000, 1, 1, tzinfo=UTC)
_RECORD_AGAIN = "Record the calibrator again"


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    """What each piece of the file holds: arrays, shape (pieces,)."""

    tone_db: FloatArray
    rest_db: FloatArray
    frequency_hz: FloatArray
    full_scale_share: FloatArray

    def between(self, first: int, last: int) -> "_Pieces":
        kept = slice(first, last)
        return _Pieces(
            self.tone_db[kept], self.rest_db[kept], self.frequency_hz[kept], self.full_scale_share[kept]
        )

    @property
    def seconds(self) -> float:
        return self.tone_db.size / PIECES_PER_SECOND


def calibration_from_tone(
    path: Path, *, level_db: float = 94.0, frequency_hz: float = 1000.0, channel: int = 1
) -> Calibration:
    """Return the calibration that the recording of a calibrator's tone gives.

    Parameters
    ----------
    path : Path
        Made with the same recorder, microphone, channel and gain as the night.
    level_db : float, dB re 20 µPa
        What the calibrator gives, 94 or 114 dB as a rule; its certificate may say 93.9.
    frequency_hz : float, Hz
        1000 or 250 as a rule.
    channel : int
        Counted from 1.

    Returns
    -------
    Calibration

    Raises
    ------
    CalibrationError
        If the file holds no such tone: silent, too short, clipped, impure, of another frequency
        or unsteady.
    RecordingError
        If the file cannot be read.
    """
    _check_range("level", level_db, TONE_LEVELS_DB, "dB")
    _check_range("frequency", frequency_hz, TONE_FREQUENCIES_HZ, "Hz")
    audio = open_audio(path)
    if audio.seconds > LONGEST_S:
        raise CalibrationError(
            f"{path}: a calibration tone may last {LONGEST_S:g} s at most, got {audio.seconds:.0f} s.",
            remedy="Give the recording of the calibrator, or a cut of it, not the night's.",
        )
    tone = _tone_part(path, _listen(audio, channel))
    _check_tone(path, tone, frequency_hz)
    found_hz, found_db = float(np.median(tone.frequency_hz)), energy_mean(tone.tone_db)
    return Calibration(
        pascal_per_full_scale=REFERENCE_PRESSURE_PA * 10.0 ** ((level_db - found_db) / 20),
        absolute=True,
        expanded_uncertainty_db=UNCERTAINTY_BY_TONE_DB,
        origin=f"tone of {level_db:g} dB in {path.name} ({tone.seconds:g} s at {found_hz:.1f} Hz)",
    )


def _check_range(what: str, value: float, limits: tuple[float, float], unit: str) -> None:
    lowest, highest = limits
    if not lowest <= value <= highest:
        raise CalibrationError(
            f"the {what} of a calibration tone must be {lowest:g} to {highest:g} {unit}, got {value:g}.",
            remedy="Give what is printed on the calibrator, such as 94 dB and 1000 Hz.",
        )


def _listen(audio: AudioFile, channel: int) -> _Pieces:
    size = audio.sample_rate_hz // PIECES_PER_SECOND
    # Without any calibration a "pascal" of the blocks is 20e-6 of full scale.
    blocks = read_blocks(audio, Calibration.relative(), _ANY_INSTANT, channel=channel)
    rows = [_piece(samples, audio.sample_rate_hz) for samples in _cut(blocks, size)]
    return _Pieces(*np.array(rows, dtype=np.float64).reshape(-1, 4).T)


def _cut(blocks: Iterator[PressureBlock], size: int) -> Iterator[FloatArray]:
    """Yield pieces of equal size, however the blocks were cut; the incomplete last one is dropped."""
    waiting = np.empty(0)
    for block in blocks:
        samples = np.concatenate([waiting, block.pressure_pa])
        whole = samples.size // size * size
        yield from samples[:whole].reshape(-1, size)
        waiting = samples[whole:]


def _piece(samples: FloatArray, sample_rate_hz: int) -> tuple[float, float, float, float]:
    """Return level of the strongest component, level of the rest, frequency, share at full scale."""
    window = np.sin(np.pi * (np.arange(samples.size) + 0.5) / samples.size) ** 2
    spectrum = np.abs(np.fft.rfft(samples * window)) ** 2
    frequencies_hz = np.fft.rfftfreq(samples.size, 1 / sample_rate_hz)
    # Parseval: the bins add up to the mean square, whatever the window.
    spectrum *= 2 / (samples.size * np.sum(window**2))
    spectrum[frequencies_hz < LOWEST_HZ] = 0.0
    strongest = int(spectrum.argmax())
    lobe = slice(max(strongest - LOBE_BINS, 0), strongest + LOBE_BINS + 1)
    tone = float(spectrum[lobe].sum())
    centre_hz = float(spectrum[lobe] @ frequencies_hz[lobe]) / tone if tone else 0.0
    spectrum[lobe] = 0.0
    return (
        float(pressure_level(tone)),
        float(pressure_level(spectrum.sum())),
        centre_hz,
        _share_at_top(samples),
    )


def _share_at_top(samples: FloatArray) -> float:
    """Return the share of samples at the peak, if that reaches full scale."""
    magnitude = np.abs(samples) / REFERENCE_PRESSURE_PA
    peak = float(magnitude.max())
    return float((magnitude >= FULL_SCALE_REACHED * peak).mean()) if peak >= FULL_SCALE_REACHED else 0.0


def _tone_part(path: Path, pieces: _Pieces) -> _Pieces:
    """Return the longest stretch as loud as the loudest, without its ends."""
    shortest = round(SHORTEST_S * PIECES_PER_SECOND)
    if pieces.tone_db.size < shortest:
        raise _too_short(path, pieces.seconds)
    loudest_db = float(np.median(np.sort(pieces.tone_db)[-shortest:]))
    if loudest_db < SILENT_BELOW_DB:
        raise CalibrationError(
            f"{path}: is silent; the loudest component reaches {loudest_db:.0f} dB re full scale, "
            f"a tone needs more than {SILENT_BELOW_DB:g}.",
            remedy=f"{_RECORD_AGAIN}, switched on and over the microphone, and choose the channel it is on.",
        )
    loud = np.concatenate([[False], pieces.tone_db > loudest_db - ALIKE_DB, [False]])
    edges = np.flatnonzero(np.diff(loud)).reshape(-1, 2)
    first, last = (int(edge) for edge in edges[np.argmax(edges[:, 1] - edges[:, 0])])
    dropped = int((last - first) * DROPPED_SHARE)
    tone = pieces.between(first + dropped, last - dropped)
    if tone.tone_db.size < shortest:
        raise _too_short(path, tone.seconds)
    return tone


def _too_short(path: Path, seconds: float) -> CalibrationError:
    return CalibrationError(
        f"{path}: the tone must last at least {SHORTEST_S:g} s without its ends, got {seconds:g} s.",
        remedy=f"{_RECORD_AGAIN} for 10 s or longer.",
    )


def _check_tone(path: Path, tone: _Pieces, frequency_hz: float) -> None:
    clipped = float(tone.full_scale_share.max())
    if clipped > CLIPPED_SHARE:
        raise CalibrationError(
            f"{path}: the tone is clipped; {clipped:.0%} of its samples are at full scale, "
            f"{CLIPPED_SHARE:.0%} are allowed.",
            remedy=f"{_RECORD_AGAIN} with less gain (and the night with the same), or at 94 dB.",
        )
    found_hz = float(np.median(tone.frequency_hz))
    above_rest_db = energy_mean(tone.tone_db) - energy_mean(tone.rest_db)
    if above_rest_db < PURE_ABOVE_DB:
        raise CalibrationError(
            f"{path}: holds no pure tone; the strongest component, at {found_hz:.0f} Hz, is "
            f"{above_rest_db:.1f} dB above all other sound, {PURE_ABOVE_DB:g} dB are needed.",
            remedy=f"{_RECORD_AGAIN} in a quiet place, with the microphone sealed into it and less gain.",
        )
    if abs(found_hz / frequency_hz - 1) > FREQUENCY_TOLERANCE:
        raise CalibrationError(
            f"{path}: the tone must be within {FREQUENCY_TOLERANCE:.0%} of {frequency_hz:g} Hz, "
            f"got {found_hz:.1f} Hz.",
            remedy="Give the frequency printed on the calibrator, or the right file.",
        )
    spread_db = float(np.ptp(tone.tone_db))
    if spread_db > STEADY_WITHIN_DB:
        raise CalibrationError(
            f"{path}: the tone is unsteady; its level moves by {spread_db:.1f} dB, "
            f"{STEADY_WITHIN_DB:g} dB are allowed.",
            remedy=f"{_RECORD_AGAIN} with the automatic gain off and the microphone seated tightly.",
        )
