"""Reverberation times of a room: from recordings of bangs, of noise that was switched off, or of sweeps."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ, OCTAVE_RATIO, exact_hz
from sleepnoise.acoustics.decibels import FloatArray, pressure_level
from sleepnoise.acoustics.source import Source
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.provenance import Provenance, file_mark, library_versions
from sleepnoise.fieldwork.excitation import impulse_response
from sleepnoise.fieldwork.field import absorption_area_m2
from sleepnoise.fieldwork.reverberation import DecayTimes, impulse_decay, interrupted_decay, onset
from sleepnoise.recording.audio_file import open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration, shown_name

How = Literal["bang", "switched-off", "sweep"]
"""What made the sound that dies away."""

ISO_3382_2_SPREAD = Source(document="ISO 3382-2:2008", place="7.1, 7.2", how_known="memory")

OCTAVES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Octaves evaluated. Chosen: those in which a bedroom's insulation is stated."""

THIRDS_HZ = tuple(hz for hz in NOMINAL_HZ if 50.0 <= hz <= 5000.0)
"""Third octaves evaluated. Chosen: the range of field measurements, with its extension downwards."""

LONGEST_S = 120.0
"""Longest recording, s. Chosen: ten sweeps; whatever is longer is something else."""

RESPONSE_S = 4.0
"""Length of a response out of a sweep, s. Chosen: under the rest after a sweep; no bedroom rings so long."""

LEAD_S = 0.1
"""Of it before the onset, s. Chosen: longer than a band's filter rings ahead."""

BLOCK_S = 0.01
"""Step in which the switching-off is sought, s. Chosen: a thirtieth of a bedroom's reverberation time."""

ON_WITHIN_DB = 6.0
"""Steady noise keeps this near to its loudest block. Chosen: 10 ms of noise scatter by 2 dB; a decay
that is read from 6 dB down has the same slope."""

OVERLOADED = 0.989
"""Share of full scale that counts as overload. Chosen: as near as lossy coding keeps a clipped peak."""

SPREAD_FACTORS = (0.88, 1.90)
"""Factors of the standard deviation of T20 in its number of decays. Source: ISO_3382_2_SPREAD."""

EQUIVALENT_DECAYS = 10
"""Decays that one impulse response is worth. Source: ISO_3382_2_SPREAD."""

_ANY_START = datetime(2000, 1, 1, tzinfo=UTC)
"""Start of every recording. Chosen: nothing depends on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BandTimes:
    """One band of a room.

    Attributes
    ----------
    nominal_hz : float
    t20_s, t30_s, edt_s : float, s
        Means of the decays that could be evaluated; ``nan`` if none could.
    decays : int
        How many T20 comes from.
    u_s : float, s
        Standard uncertainty of T20: the larger of what theory expects of so few decays and of
        what they scatter by.
    absorption_m2 : float, m²
        ``nan`` without a volume.
    warnings : tuple of str
    """

    nominal_hz: float
    t20_s: float
    t30_s: float
    edt_s: float
    decays: int
    u_s: float
    absorption_m2: float
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomDecay:
    """Reverberation times of a room.

    Attributes
    ----------
    how : str
    octaves : bool
    volume_m3 : float or None
    bands : tuple of BandTimes
    recordings : int
    remarks : tuple of str
    provenance : Provenance
    """

    how: How
    octaves: bool
    volume_m3: float | None
    bands: tuple[BandTimes, ...]
    recordings: int
    remarks: tuple[str, ...]
    provenance: Provenance

    @property
    def mid_s(self) -> float:
        """Mean T20 of the 500 Hz and 1000 Hz bands, s; ``nan`` if one is not known."""
        return float(np.mean([band.t20_s for band in self.bands if band.nominal_hz in (500.0, 1000.0)]))


@dataclass(frozen=True, slots=True)
class _Heard:
    pressure: FloatArray
    rate_hz: int
    name: str


def study_reverberation(
    recordings: Sequence[Path],
    how: How,
    *,
    sweep: Path | None = None,
    octaves: bool = True,
    channel: int = 1,
    volume_m3: float | None = None,
    on_progress: Callable[[float], None] = lambda _share: None,
) -> RoomDecay:
    """Evaluate recordings of one room, each at another place or a repeat; none needs a calibration.

    Parameters
    ----------
    recordings : sequence of Path
        One decay each: a bang, noise that is switched off, or one played sweep.
    how : {"bang", "switched-off", "sweep"}
    sweep : Path, optional
        The file that was played; needed for sweeps. Its first sweep counts.
    octaves : bool, optional
        Octaves instead of third octaves.
    channel : int, optional
        From 1.
    volume_m3 : float, optional
        Of the room, for its absorption.
    on_progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    SleepNoiseError
        For everything that a user can cause.
    """
    _check(how, sweep, volume_m3)
    played = None if sweep is None else _played(_read(sweep, 1))
    remarks: list[str] = []
    bands_hz = OCTAVES_HZ if octaves else THIRDS_HZ
    found: list[list[DecayTimes]] = [[] for _ in bands_hz]
    for number, path in enumerate(recordings, start=1):
        heard = _read(path, channel)
        if np.abs(heard.pressure).max() >= OVERLOADED:
            remarks.append(f"{heard.name}: overloaded, which shortens decays; record again with less gain")
        sound = heard if played is None else _response(heard, played)
        for times, hz in zip(found, bands_hz, strict=True):
            if exact_hz(hz) * OCTAVE_RATIO**0.5 < sound.rate_hz / 2:
                times.append(_decay(sound, how, hz, octaves))
        on_progress(number / len(recordings))
    files = [(path, "recording") for path in recordings] + ([(sweep, "test sound")] if sweep else [])
    return RoomDecay(
        how=how,
        octaves=octaves,
        volume_m3=volume_m3,
        bands=tuple(
            _band(hz, times, how, octaves, volume_m3)
            for hz, times in zip(bands_hz, found, strict=True)
            if times
        ),
        recordings=len(recordings),
        remarks=tuple(remarks),
        provenance=Provenance(
            inputs=tuple(file_mark(path, role) for path, role in files), versions=library_versions()
        ),
    )


def _check(how: How, sweep: Path | None, volume_m3: float | None) -> None:
    if (how == "sweep") != (sweep is not None):
        raise SettingsError(
            "reverberation: the test sound that was played belongs to sweeps, and only to them.",
            remedy="Give --sweep FILE.wav, the file that was played, together with --how sweep.",
        )
    if volume_m3 is not None and not 1.0 <= volume_m3 <= 10_000.0:
        raise SettingsError(
            f"volume: must be 1 to 10000 m³, got {volume_m3:g}.", remedy="Length times width times height."
        )


def _read(path: Path, channel: int) -> _Heard:
    audio = open_audio(path)
    if audio.seconds > LONGEST_S:
        raise RecordingError(
            f"{path}: a recording of a decay must last at most {LONGEST_S:g} s, got {audio.seconds:.0f} s.",
            remedy="Cut out one bang, one switching-off or one sweep, with the silence after it.",
        )
    # Decays need no scale: full scale is 1.
    unity = Calibration.relative()
    blocks = [each.pressure_pa for each in read_blocks(audio, unity, _ANY_START, channel=channel)]
    samples = np.concatenate(blocks).astype(np.float64) / unity.pascal_per_full_scale
    if not samples.any():
        raise RecordingError(f"{path}: holds digital silence only.", remedy="Check the microphone.")
    return _Heard(samples, int(audio.sample_rate_hz), shown_name(path))


def _played(sound: _Heard) -> _Heard:
    """Return the first sweep of a test sound, up to the silence after it."""
    loud = np.abs(sound.pressure) > 0
    steps = round(LEAD_S * sound.rate_hz)
    silent = np.convolve(~loud, np.ones(steps), "valid") == steps
    end = int(np.argmax(silent)) if silent.any() else loud.size
    if end == 0:
        raise RecordingError(
            f"{sound.name}: begins with silence, so it is no test sound of 'sleepnoise test-sound sweep'.",
            remedy="Give the file that was played.",
        )
    return _Heard(sound.pressure[:end], sound.rate_hz, sound.name)


def _response(heard: _Heard, played: _Heard) -> _Heard:
    """Return the room's response; a recording may have begun long before the sweep."""
    if heard.rate_hz != played.rate_hz:
        raise RecordingError(
            f"{heard.name}: has {heard.rate_hz} Hz, the sweep that was played has {played.rate_hz} Hz.",
            remedy=f"Record at {played.rate_hz} Hz, or write the sweep with --rate {heard.rate_hz}.",
        )
    response = impulse_response(heard.pressure, played.pressure, heard.pressure.size)
    begin = max(onset(response) - round(LEAD_S * heard.rate_hz), 0)
    return _Heard(response[begin : begin + round(RESPONSE_S * heard.rate_hz)], heard.rate_hz, heard.name)


def _decay(sound: _Heard, how: How, hz: float, octaves: bool) -> DecayTimes:
    if how == "switched-off":
        return interrupted_decay(sound.pressure, sound.rate_hz, _off(sound), hz, octave=octaves)
    return impulse_decay(sound.pressure, sound.rate_hz, hz, octave=octaves)


def _off(sound: _Heard) -> int:
    """Return the sample at which steady noise has ended: after its last loud block."""
    block = round(BLOCK_S * sound.rate_hz)
    squares = sound.pressure[: sound.pressure.size // block * block].reshape(-1, block) ** 2
    levels_db = pressure_level(squares.mean(axis=1))
    loud = np.flatnonzero(levels_db > levels_db.max() - ON_WITHIN_DB)
    if loud.size < 1.0 / BLOCK_S:
        raise RecordingError(
            f"{sound.name}: holds no second of steady noise before it is switched off.",
            remedy="Let the noise play for two seconds before switching it off; for a bang use --how bang.",
        )
    return int(loud[-1] + 1) * block


def _band(
    hz: float, times: Sequence[DecayTimes], how: How, octaves: bool, volume_m3: float | None
) -> BandTimes:
    t20s = np.array([each.t20_s for each in times if math.isfinite(each.t20_s)])
    t20_s = _mean([each.t20_s for each in times])
    told = dict.fromkeys(warning for each in times for warning in each.warnings)
    return BandTimes(
        nominal_hz=hz,
        t20_s=t20_s,
        t30_s=_mean([each.t30_s for each in times]),
        edt_s=_mean([each.edt_s for each in times]),
        decays=t20s.size,
        u_s=_uncertainty_s(t20s, hz, how, octaves),
        absorption_m2=float(absorption_area_m2(volume_m3, t20_s)) if volume_m3 else math.nan,
        warnings=tuple(told),
    )


def _mean(times_s: Sequence[float]) -> float:
    known = [each for each in times_s if math.isfinite(each)]
    return float(np.mean(known)) if known else math.nan


def _uncertainty_s(t20s: FloatArray, hz: float, how: How, octaves: bool) -> float:
    """Return the standard uncertainty of a mean T20, s."""
    if not t20s.size:
        return math.nan
    half = OCTAVE_RATIO ** (1 / 2 if octaves else 1 / 6)
    bandwidth_hz = exact_hz(hz) * (half - 1.0 / half)
    a, b = SPREAD_FACTORS
    repeats = 1 if how == "switched-off" else EQUIVALENT_DECAYS
    mean_s = float(t20s.mean())
    expected_s = a * mean_s * math.sqrt((1.0 + b / repeats) / (t20s.size * bandwidth_hz * mean_s))
    scatter_s = float(t20s.std(ddof=1) / math.sqrt(t20s.size)) if t20s.size > 1 else 0.0
    return max(expected_s, scatter_s)
