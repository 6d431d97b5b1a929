"""The narrow-band method for tones: lines that stand out of the noise in their critical band.

A stretch of sound is cut into spectra of about 3 s with lines 2 to 4 Hz apart. In each, every line
that stands out is tried for a tone, tones of one critical band are taken together, and the most
audible decides. The mean of all spectra is the audibility of the stretch. Not for tones below
50 Hz, and not for sounds whose pitch moves within seconds.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray, energy, energy_mean, level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.weighting import weighting_db
from sleepnoise.character.tone_audibility import (
    COARSE_STEPS_J,
    TOGETHER_BELOW_HZ,
    audibility_db,
    band_noise_db,
    critical_band_hz,
    heard_apart_hz,
    ramp_adjustment_db,
    tone_adjustment_db,
)

ISO_20065_LINES = Source(
    document="ISO/PAS 20065:2016",
    place="line spacing, averaging time, mean narrow-band level, tone level, distinctness",
    how_known="memory",
)

LINE_SPACING_HZ = 2.7
"""Distance of the lines aimed at, Hz. Chosen: that of the standard's examples; 1.9 to 4 Hz
are allowed."""

SPECTRUM_S = 3.0
"""Sound averaged in one spectrum, s. Source: ISO_20065_LINES."""

LEAST_SPECTRA = 12
"""Spectra that a mean needs. Source: ISO_20065_LINES."""

LOWEST_HZ = 50.0
"""Lowest tone, Hz. Source: ISO_20065_LINES."""

HIGHEST_HZ = 10_000.0
"""Highest tone looked for, Hz. Chosen: as far as the survey method goes."""

STANDS_OUT_DB = 6.0
"""A line this far above the noise is no noise, dB. Source: ISO_20065_LINES."""

BELONGS_DB = 10.0
"""Lines no further than this below the highest belong to the tone, dB. Source: ISO_20065_LINES."""

SETTLED_DB = 0.005
"""Change at which the mean narrow-band level is settled, dB. Source: ISO_20065_LINES."""

LEAST_LINES = 5
"""Lines on each side of a tone that its noise needs. Source: ISO_20065_LINES."""

WIDEST_TONE = (26.0, 0.001)
"""Widest tone: Hz, and its growth with each Hz of frequency. Source: ISO_20065_LINES."""

STEEPEST_NEEDED_DB = 24.0
"""Least fall of a tone's edges, dB per octave. Source: ISO_20065_LINES."""

HANN_LINES = 1.5
"""Noise bandwidth of the Hann window, in lines. Source: ISO_20065_LINES; it follows from the window."""

NO_TONE_DB = -10.0
"""Audibility that counts for a spectrum without a more audible tone, dB. Source: ISO_20065_LINES."""

NEIGHBOURS = 2
"""Lines on each side that a tone's highest line must top. Chosen: half the main lobe of the Hann window."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """The most audible tone of one spectrum.

    Attributes
    ----------
    frequency_hz : float, Hz
    audibility_db : float, dB
        With the tones of its critical band that are not heard apart from it.
    """

    frequency_hz: float
    audibility_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tonality:
    """What the narrow-band method says of a stretch.

    Attributes
    ----------
    spectra : int
        Spectra that were averaged.
    spectra_with_tone : int
        Those in which a tone was audible.
    audibility_db : float, dB
        Mean audibility; ``nan`` if there was nothing to analyse.
    standard_uncertainty_db : float, dB
        Of that mean, from the scatter of the spectra alone; ``nan`` for fewer than two.
    frequency_hz : float, Hz
        Of the most audible tone; ``nan`` if none was audible.
    adjustment_db : float, dB
        KT by ISO 1996-2:2017, Table J.1.
    coarse_adjustment_db : float, dB
        The same in the short form of that table.
    ramp_adjustment_db : float, dB
        KT by the edition of 2007, for the same audibility.
    """

    spectra: int
    spectra_with_tone: int
    audibility_db: float
    standard_uncertainty_db: float
    frequency_hz: float
    adjustment_db: float
    coarse_adjustment_db: float
    ramp_adjustment_db: float

    @property
    def enough(self) -> bool:
        """Whether as many spectra were averaged as the method asks for."""
        return self.spectra >= LEAST_SPECTRA


def tonality(pressure: PressureBlock) -> Tonality:
    """Assess the tones of a stretch of sound by the narrow-band method.

    Parameters
    ----------
    pressure : PressureBlock
        At least 36 s for a full assessment. What is left after the last 3 s is not used.

    Returns
    -------
    Tonality
    """
    return averaged(list(tones_of(pressure)))


def tones_of(pressure: PressureBlock) -> Iterator[Tone | None]:
    """Yield the most audible tone of each whole 3 s, as :func:`averaged` takes them."""
    for lines_db, spacing_hz in _spectra(pressure):
        yield most_audible_tone(lines_db, spacing_hz)


def averaged(tones: Sequence[Tone | None]) -> Tonality:
    """Average over spectra.

    Parameters
    ----------
    tones : sequence of Tone or None
        The most audible one of each spectrum; None if no line stood out in it.
    """
    audible = [tone for tone in tones if tone is not None and tone.audibility_db > 0]
    leading = max(audible, key=lambda tone: tone.audibility_db, default=None)
    found_db = [NO_TONE_DB if tone is None else tone.audibility_db for tone in tones]
    decisive = np.maximum(found_db, NO_TONE_DB)
    mean_db = energy_mean(decisive) if decisive.size else float("nan")
    return Tonality(
        spectra=len(tones),
        spectra_with_tone=len(audible),
        audibility_db=mean_db,
        standard_uncertainty_db=_scatter_of_mean_db(decisive),
        frequency_hz=float("nan") if leading is None else leading.frequency_hz,
        adjustment_db=tone_adjustment_db(mean_db),
        coarse_adjustment_db=tone_adjustment_db(mean_db, COARSE_STEPS_J),
        ramp_adjustment_db=ramp_adjustment_db(mean_db),
    )


def _scatter_of_mean_db(decisive_db: FloatArray) -> float:
    """Return the standard uncertainty of an energy mean of repeats, to first order, dB."""
    if decisive_db.size < 2:
        return float("nan")
    energies = energy(decisive_db)
    relative = np.std(energies, ddof=1) / np.sqrt(energies.size) / np.mean(energies)
    return float(10.0 / np.log(10.0) * relative)


def _spectra(pressure: PressureBlock) -> Iterator[tuple[FloatArray, float]]:
    """Yield A-weighted line levels of each 3 s, shape (lines,), dB, and the distance of the lines, Hz."""
    rate_hz = pressure.sample_rate_hz
    length = scipy.fft.next_fast_len(round(rate_hz / LINE_SPACING_HZ), real=True)
    spacing_hz = rate_hz / length
    window = np.hanning(length + 1)[:length]
    weight = energy(weighting_db(np.arange(length // 2 + 1) * spacing_hz, "A"))
    # A full-scale sine gives the line its own level: coherent gain out, both sides of the spectrum in.
    scale = 2.0 / (np.sum(window) * REFERENCE_PRESSURE_PA) ** 2
    together = round(SPECTRUM_S * rate_hz)
    for first in range(0, pressure.pressure_pa.size - together + 1, together):
        samples = pressure.pressure_pa[first : first + together].astype(np.float64)
        frames = np.lib.stride_tricks.sliding_window_view(samples, length)[:: length // 2]
        squares = np.abs(scipy.fft.rfft((frames - frames.mean()) * window)) ** 2
        yield level(scale * weight * squares.mean(axis=0)), spacing_hz


def most_audible_tone(lines_db: FloatArray, spacing_hz: float) -> Tone | None:
    """Return the most audible tone of one spectrum, audible or not; None if no line stands out.

    Parameters
    ----------
    lines_db : ndarray, shape (lines,), dB
        A-weighted levels, line 0 at 0 Hz, taken with a Hann window.
    spacing_hz : float, Hz
    """
    candidates = list(_candidates(lines_db, spacing_hz))
    groups = [_together(each, candidates) for each in candidates]
    return max(groups, key=lambda tone: tone.audibility_db, default=None)


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A line that stands out, with the noise around it."""

    line: int
    hz: float
    tone_db: float
    noise_db: float
    members: frozenset[int]

    @property
    def audibility_db(self) -> float:
        return float(audibility_db(self.tone_db, self.noise_db, self.hz))


def _candidates(lines_db: FloatArray, spacing_hz: float) -> Iterator[_Candidate]:
    highest = min(int(HIGHEST_HZ / spacing_hz), lines_db.size - 1 - NEIGHBOURS)
    around = np.lib.stride_tricks.sliding_window_view(lines_db, 2 * NEIGHBOURS + 1).max(axis=1)
    tops = np.flatnonzero(lines_db[NEIGHBOURS:-NEIGHBOURS] == around) + NEIGHBOURS
    for line in tops[(tops >= LOWEST_HZ / spacing_hz) & (tops <= highest)]:
        noise_db = line_noise_db(lines_db, int(line), spacing_hz)
        if lines_db[line] > noise_db + STANDS_OUT_DB:
            candidate = _candidate(lines_db, int(line), spacing_hz, noise_db)
            if candidate is not None:
                yield candidate


def _band_lines(line: int, lines: int, spacing_hz: float) -> tuple[int, int]:
    lower_hz, upper_hz = critical_band_hz(line * spacing_hz)
    return max(int(np.ceil(lower_hz / spacing_hz)), 1), min(int(upper_hz / spacing_hz) + 1, lines)


def line_noise_db(lines_db: FloatArray, line: int, spacing_hz: float) -> float:
    """Return the mean level of the noise around a line, for one line, dB; ``nan`` if it cannot be told.

    Lines that stand out of the mean are taken off it until it settles.
    """
    first, last = _band_lines(line, lines_db.size, spacing_hz)
    band = lines_db[first:last]
    place = line - first
    noise = np.ones(band.size, dtype=np.bool_)
    noise[place] = False
    window_db = 10.0 * np.log10(HANN_LINES)
    mean_db = float("nan")
    while noise[:place].sum() >= LEAST_LINES and noise[place + 1 :].sum() >= LEAST_LINES:
        before_db, mean_db = mean_db, float(level(np.mean(energy(band[noise])))) - window_db
        if abs(before_db - mean_db) <= SETTLED_DB or np.isneginf(mean_db):
            break
        noise = band <= mean_db + STANDS_OUT_DB
        noise[place] = False
    return mean_db


def _candidate(lines_db: FloatArray, line: int, spacing_hz: float, noise_db: float) -> _Candidate | None:
    """Return the tone whose highest line this is; None if it is too broad or rises too gently for one."""
    belongs = lines_db > max(noise_db + STANDS_OUT_DB, lines_db[line] - BELONGS_DB)
    first = last = line
    while first > 1 and belongs[first - 1]:
        first -= 1
    while last < lines_db.size - 2 and belongs[last + 1]:
        last += 1
    widest_hz = WIDEST_TONE[0] * (1.0 + WIDEST_TONE[1] * line * spacing_hz)
    falls_db = lines_db[line] - lines_db[[first - 1, last + 1]]
    octaves = np.abs(np.log2(np.array([first - 1 or 0.5, last + 1]) / line))
    if (last - first + 1) * spacing_hz > widest_hz or np.any(falls_db < STEEPEST_NEEDED_DB * octaves):
        return None
    tone_db = float(level(np.sum(energy(lines_db[first : last + 1]))))
    if last > first:
        tone_db -= 10.0 * np.log10(HANN_LINES)
    return _Candidate(
        line=line,
        hz=line * spacing_hz,
        tone_db=tone_db,
        noise_db=float(band_noise_db(noise_db, line * spacing_hz, spacing_hz)),
        members=frozenset(range(first, last + 1)),
    )


def _together(candidate: _Candidate, others: list[_Candidate]) -> Tone:
    """Return a tone with those of its critical band that are not heard apart from it."""
    lower_hz, upper_hz = critical_band_hz(candidate.hz)
    near = [other for other in others if lower_hz <= other.hz <= upper_hz and other.line != candidate.line]
    near = [other for other in near if not other.members & candidate.members]
    if len(near) == 1 and _heard_apart(candidate, near[0]):
        near = []
    tone_db = float(level(np.sum(energy([candidate.tone_db, *(other.tone_db for other in near)]))))
    together_db = float(audibility_db(tone_db, candidate.noise_db, candidate.hz))
    return Tone(frequency_hz=candidate.hz, audibility_db=together_db)


def _heard_apart(one: _Candidate, other: _Candidate) -> bool:
    if max(one.hz, other.hz) >= TOGETHER_BELOW_HZ:
        return False
    decisive = max(one, other, key=lambda each: each.audibility_db)
    return abs(one.hz - other.hz) > heard_apart_hz(decisive.hz)
