"""Finds a calibrator's tone in a recording, however long, and says how good it is.

The recording is heard in pieces of a quarter of a second. Each piece says how strong its
strongest component is, at which frequency, how much sound is left beside it, and whether its
tops are cut. Pieces in a row whose strongest component is pure and of the right frequency are
a stretch of tone; its ends, where the calibrator was put on and taken off, are not evaluated.

Symbols: levels here are dB re full scale, a full-scale mean square being 0 dB.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray, energy_mean, pressure_level
from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.recording.audio_file import AudioFile, read_blocks
from sleepnoise.recording.calibration import Calibration

PIECES_PER_SECOND = 4
"""Pieces a second. Chosen: bins of 4 Hz tell 250 Hz from its neighbours, and a handling knock spoils few."""

LOBE_BINS = 5
"""Bins on either side that belong to a tone. Chosen: a Hann window keeps all but 1e-6 of it in them."""

LOWEST_HZ = 100.0
"""Sound below is ignored, Hz. Chosen: handling, rumble and offset lie below, every calibrator above."""

FREQUENCY_TOLERANCE = 0.02
"""Largest departure from the stated frequency. Chosen: calibrators keep within 1 %,
and a recorder's clock adds little."""

PURE_ABOVE_DB = 20.0
"""How far the tone must stand above all other sound, dB. Chosen: 10 % of distortion and noise, far beyond a
working calibrator and microphone, yet less than 0.05 dB of error."""

SILENT_BELOW_DB = -80.0
"""Level below which nothing was recorded, dB re full scale. Chosen: a tone
that can be used is at -60 dB or more."""

ALIKE_DB = 6.0
"""Largest step from piece to piece within one tone, dB. Chosen: less than between the levels that a
calibrator can be switched to, far more than any drift, which is judged apart."""

SHORTEST_S = 2.0
"""Shortest tone taken, s. Chosen: eight pieces; less cannot show whether the level is steady."""

DROPPED_SHARE = 1 / 8
"""Share of the tone dropped at each end. Chosen: the seconds in which a calibrator is seated and let go."""

FULL_SCALE_REACHED = 0.999
"""Sample value taken for full scale. Chosen: 33 steps of 16 bit below the top."""

HIGHEST_HARMONIC = 7
"""Last harmonic that tells whether tops are cut. Chosen: with four more nothing changes but the cost."""

STANDS_OUT_DB = 6.0
"""How far a tone must stand above all else for its tops to be looked at, dB. Chosen: a sine that is cut
until it is a square still does so by 6.3 dB."""

_ANY_INSTANT = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """What each piece of a recording holds: arrays, shape (pieces,).

    Attributes
    ----------
    tone_db, rest_db : ndarray, dB re full scale
        The strongest component, and all other sound.
    frequency_hz : ndarray, Hz
        Of the strongest component.
    full_scale_share : ndarray
        Share of samples at the peak, where that reaches full scale.
    cut_share : ndarray
        By which share of their height tops or bottoms are cut; 0 where no tone of the right
        frequency stands out.
    first : int
        Number of the first piece, counted from the start of the recording.
    """

    tone_db: FloatArray
    rest_db: FloatArray
    frequency_hz: FloatArray
    full_scale_share: FloatArray
    cut_share: FloatArray
    first: int = 0

    def between(self, first: int, last: int) -> "Pieces":
        """Return the pieces from *first* to before *last*."""
        kept = slice(first, last)
        return Pieces(
            self.tone_db[kept],
            self.rest_db[kept],
            self.frequency_hz[kept],
            self.full_scale_share[kept],
            self.cut_share[kept],
            self.first + first,
        )

    def without_ends(self) -> "Pieces":
        """Return the part that is evaluated."""
        dropped = int(self.tone_db.size * DROPPED_SHARE)
        return self.between(dropped, self.tone_db.size - dropped)

    @property
    def seconds(self) -> float:
        """Length, s."""
        return self.tone_db.size / PIECES_PER_SECOND

    @property
    def start_s(self) -> float:
        """Where the first piece begins in the recording, s."""
        return self.first / PIECES_PER_SECOND

    @property
    def level_db(self) -> float:
        """Level of the tone, dB re full scale."""
        return energy_mean(self.tone_db)

    @property
    def spread_db(self) -> float:
        """Range of the tone's level from piece to piece, dB."""
        return float(np.ptp(self.tone_db))

    @property
    def middle_hz(self) -> float:
        """Frequency of the tone, Hz."""
        return float(np.median(self.frequency_hz))


def listen(audio: AudioFile, channel: int, frequency_hz: float) -> Pieces:
    """Hear a whole recording; memory holds five numbers for each piece.

    Parameters
    ----------
    audio : AudioFile
    channel : int
        Counted from 1.
    frequency_hz : float, Hz
        Of the tone that is looked for.
    """
    size = audio.sample_rate_hz // PIECES_PER_SECOND
    ear = _Ear(size, audio.sample_rate_hz, frequency_hz)
    # Without any calibration a "pascal" of the blocks is 20e-6 of full scale.
    blocks = read_blocks(audio, Calibration.relative(), _ANY_INSTANT, channel=channel)
    rows = [ear.hear(samples) for samples in _cut(blocks, size)]
    return Pieces(*np.array(rows, dtype=np.float64).reshape(-1, 5).T)


def tone_stretches(pieces: Pieces, frequency_hz: float) -> list[Pieces]:
    """Return every stretch of pure tone of a frequency, in order of time, ends included.

    Stretches too short to be evaluated without their ends are left out.
    """
    pure = (
        (pieces.tone_db >= pieces.rest_db + PURE_ABOVE_DB)
        & (np.abs(pieces.frequency_hz / frequency_hz - 1) <= FREQUENCY_TOLERANCE)
        & (pieces.tone_db >= SILENT_BELOW_DB)
    )
    level_db = np.where(pure, pieces.tone_db, 0.0)
    together = pure[1:] & pure[:-1] & (np.abs(np.diff(level_db)) <= ALIKE_DB)
    # A stretch begins at a pure piece that does not go together with the one before it.
    begins = np.flatnonzero(pure & ~np.concatenate([[False], together]))
    ends = np.flatnonzero(pure & ~np.concatenate([together, [False]])) + 1
    found = (pieces.between(int(first), int(last)) for first, last in zip(begins, ends, strict=True))
    return [stretch for stretch in found if stretch.without_ends().seconds >= SHORTEST_S]


def loudest_stretch(pieces: Pieces) -> Pieces:
    """Return the longest stretch as loud as the loudest two seconds, whatever it is, without its ends."""
    shortest = round(SHORTEST_S * PIECES_PER_SECOND)
    loudest_db = float(np.median(np.sort(pieces.tone_db)[-shortest:]))
    loud = np.concatenate([[False], pieces.tone_db > loudest_db - ALIKE_DB, [False]])
    edges = np.flatnonzero(np.diff(loud)).reshape(-1, 2)
    if not edges.size:
        return pieces
    first, last = (int(edge) for edge in edges[np.argmax(edges[:, 1] - edges[:, 0])])
    return pieces.between(first, last).without_ends()


def _cut(blocks: Iterator[PressureBlock], size: int) -> Iterator[FloatArray]:
    """Yield pieces of equal size, however the blocks were cut; the incomplete last one is dropped."""
    waiting = np.empty(0)
    for block in blocks:
        samples = np.concatenate([waiting, block.pressure_pa])
        whole = samples.size // size * size
        yield from samples[:whole].reshape(-1, size)
        waiting = samples[whole:]


class _Ear:
    """Hears pieces of one size and keeps what they have in common."""

    def __init__(self, size: int, sample_rate_hz: int, frequency_hz: float) -> None:
        self._wanted_hz = frequency_hz
        self._highest_hz = sample_rate_hz / 2
        self._window = np.sin(np.pi * (np.arange(size) + 0.5) / size) ** 2
        self._frequencies_hz = np.fft.rfftfreq(size, 1 / sample_rate_hz)
        # From the middle of the piece, so that a small error of frequency turns no phase.
        self._seconds = (np.arange(size) - (size - 1) / 2) / sample_rate_hz

    def hear(self, samples: FloatArray) -> tuple[float, float, float, float, float]:
        """Return what ``Pieces`` holds of one piece."""
        spectrum = np.abs(np.fft.rfft(samples * self._window)) ** 2
        # Parseval: the bins add up to the mean square, whatever the window.
        spectrum *= 2 / (samples.size * np.sum(self._window**2))
        spectrum[self._frequencies_hz < LOWEST_HZ] = 0.0
        strongest = int(spectrum.argmax())
        lobe = slice(max(strongest - LOBE_BINS, 0), strongest + LOBE_BINS + 1)
        tone = float(spectrum[lobe].sum())
        centre_hz = float(spectrum[lobe] @ self._frequencies_hz[lobe]) / tone if tone else 0.0
        spectrum[lobe] = 0.0
        rest = float(spectrum.sum())
        stands_out = tone > rest * 10 ** (STANDS_OUT_DB / 10)
        wanted = abs(centre_hz / self._wanted_hz - 1) <= FREQUENCY_TOLERANCE
        return (
            float(pressure_level(tone)),
            float(pressure_level(rest)),
            centre_hz,
            _share_at_top(samples),
            self._cut_share(samples, centre_hz) if stands_out and wanted else 0.0,
        )

    def _cut_share(self, samples: FloatArray, tone_hz: float) -> float:
        """Return by which share the harmonics lower the tops or the bottoms of a tone."""
        turning = np.exp(-2j * np.pi * tone_hz * self._seconds)
        heights = [0.0, 0.0]
        power, phase = self._window * samples, 1.0 + 0.0j
        fundamental = complex(power @ turning)
        unturned = np.conj(fundamental) / abs(fundamental)
        for harmonic in range(1, HIGHEST_HARMONIC + 1):
            power, phase = power * turning, phase * unturned
            if harmonic > 1 and harmonic * tone_hz < self._highest_hz:
                # Height that this harmonic adds where the fundamental has its top.
                heights[harmonic % 2] += float((power.sum() * phase).real) / abs(fundamental)
        even, odd = heights
        return abs(even) - odd


def _share_at_top(samples: FloatArray) -> float:
    """Return the share of samples at the peak, if that reaches full scale."""
    magnitude = np.abs(samples) / REFERENCE_PRESSURE_PA
    peak = float(magnitude.max())
    return float((magnitude >= FULL_SCALE_REACHED * peak).mean()) if peak >= FULL_SCALE_REACHED else 0.0
