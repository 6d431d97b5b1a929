"""Test sounds as WAV files: steady noise without a seam, and sweeps with silence after them."""

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.errors import SettingsError
from sleepnoise.fieldwork.excitation import exponential_sweep, steady_noise
from sleepnoise.trials.sound_file import check_sound_path, write_sound_file

Kind = Literal["pink", "white", "sweep"]
"""Noise of equal power in every octave or in every hertz; or a sine that rises through all of them."""

LOOP_S = 60.0
"""Longest stretch of noise that is made, s. Chosen: far longer than any reading, and quick to make."""

REST_S = 5.0
"""Silence after every sweep, s. Chosen: no furnished room rings for longer."""

LONGEST_S = 3600.0
"""Longest file, s. Chosen: an hour; players repeat a file without a seam anyway."""

RATES_HZ = (8_000, 192_000)
"""Sampling rates taken. Chosen: as for recordings."""

INSTRUCTIONS = (
    (
        "Ears",
        "Begin at the lowest volume and raise it slowly; nobody stays near the loudspeaker. Where it reaches "
        "85 dB(A), wear hearing protection. Keep children, animals and wearers of hearing aids away. Never "
        "play it through headphones or earphones.",
    ),
    (
        "Neighbours",
        "Tell them, test by day, and keep it short: ten seconds a reading are enough.",
    ),
    (
        "Loudspeaker",
        "Half its volume is plenty; what distorts, rattles or smells is too loud. Noise at full power ruins "
        "small loudspeakers.",
    ),
    (
        "Level",
        "Enough when the noise behind the closed door is more than 10 dB above the background. Then leave "
        "volume and places alone until the last step; switch off tone controls and automatic volume.",
    ),
)
"""Said with every test sound. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestSound:
    """What a file is to hold.

    Attributes
    ----------
    kind : {"pink", "white", "sweep"}
    seconds : float, s
        Length of the file; of one sweep.
    sweeps : int
        How often a sweep is repeated.
    band_hz : tuple of float
        Lowest and highest frequency.
    sample_rate_hz : int, Hz
    seed : int
        The same seed gives the same noise.
    """

    __test__ = False

    kind: Kind
    seconds: float
    sweeps: int = 1
    band_hz: tuple[float, float] = (40.0, 12_500.0)
    sample_rate_hz: int = 48_000
    seed: int = 1


def write_test_sound(
    sound: TestSound, path: Path, *, force: bool, on_progress: Callable[[float], None] = lambda _share: None
) -> float:
    """Write a test sound as a 16-bit WAV file with one channel; memory does not grow with its length.

    The end joins the beginning: a player may repeat the file for as long as it likes.

    Parameters
    ----------
    sound : TestSound
    path : Path
        Ends in ``.wav``.
    force : bool
        Whether a file may be replaced.
    on_progress : callable, optional
        Called with the share done, 0 to 1.

    Returns
    -------
    float
        Length of the file, s.

    Raises
    ------
    SettingsError, OutputError
        If the sound makes no sense, or cannot be written there.
    """
    check_sound_path(path, (".wav",), force=force)
    _check(sound)
    loop, times = _loop(sound)
    # Rounded once, so that every round is the same.
    samples = np.rint(loop * 2**15).astype(np.int16)
    write_sound_file(
        path,
        itertools.repeat(samples[:, None], times),
        frames=times * samples.size,
        channels=1,
        sample_rate_hz=sound.sample_rate_hz,
        subtype="PCM_16",
        force=force,
        on_progress=on_progress,
    )
    return times * samples.size / sound.sample_rate_hz


def _loop(sound: TestSound) -> tuple[FloatArray, int]:
    """Return the stretch that is repeated, and how often."""
    if sound.kind == "sweep":
        sweep = exponential_sweep(sound.seconds, sound.sample_rate_hz, sound.band_hz)
        return np.concatenate([sweep, np.zeros(round(REST_S * sound.sample_rate_hz))]), sound.sweeps
    times = math.ceil(sound.seconds / LOOP_S)
    rng = np.random.default_rng(sound.seed)
    noise = steady_noise(rng, sound.seconds / times, sound.sample_rate_hz, sound.kind, sound.band_hz)
    return noise, times


def _check(sound: TestSound) -> None:
    lowest_hz, highest_hz = RATES_HZ
    longest_s = LONGEST_S if sound.kind != "sweep" else LOOP_S
    for holds, complaint, remedy in (
        (
            1.0 <= sound.seconds <= longest_s,
            f"the length must be 1 to {longest_s:g} s, got {sound.seconds:g} s",
            "Choose a length such as 60 s of noise, or a sweep of 10 s.",
        ),
        (
            1 <= sound.sweeps <= 20,
            f"there must be 1 to 20 sweeps, got {sound.sweeps}",
            "Three sweeps are enough.",
        ),
        (
            lowest_hz <= sound.sample_rate_hz <= highest_hz,
            f"the sampling rate must be {lowest_hz} to {highest_hz} Hz, got {sound.sample_rate_hz}",
            "Choose 48000.",
        ),
        (sound.seed >= 0, f"the seed must be 0 or more, got {sound.seed}", "Choose a whole number."),
    ):
        if not holds:
            raise SettingsError(f"test sound: {complaint}.", remedy=remedy)
