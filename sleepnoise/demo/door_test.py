"""The short recordings beside the night: a calibrator's tone and an invented door test.

Pink noise plays in the hall; the microphone stands at the pillow. Each recording differs from
the one before by one thing.
"""

from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray
from sleepnoise.demo.measures import whole_laeq
from sleepnoise.demo.noise import Shape, shaped_noise

TONE_DB = 94.0
"""Level of the calibration tone. Chosen: what most sound calibrators give, 1 Pa."""
TONE_HZ = 1000.0
"""Frequency of the calibration tone. Chosen: every weighting is 0 dB there."""
TONE_S = 10.0
"""Length of the calibration tone. Chosen: long enough to judge how steady it is."""
STATE_S = 8.0
"""Length of one door-test recording. Chosen: band levels settle to half a decibel from 100 Hz up."""

ROOM_LAEQ = 30.0
"""Background in the bedroom during the test, dB(A). Chosen: an afternoon, 3 dB above the night."""
_PINK: Shape = {20.0: 0.0, 20000.0: 0.0}
"""Pink noise: equal third octaves. Chosen: every band is heard."""
_ROOM: Shape = {20.0: 20.0, 63.0: 17.0, 250.0: 9.0, 1000.0: 0.0, 4000.0: -10.0, 20000.0: -24.0}
"""Background of an afternoon. Chosen: falls by about 5 dB an octave."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DoorState:
    """One recording of the door test.

    Attributes
    ----------
    name : str
        Becomes the file name.
    meaning : str
    laeq : float, dB
        Of the recording, background included.
    shape : Shape or None
        Of the noise that arrives from the hall, only differences count; None when it is off.
    """

    name: str
    meaning: str
    laeq: float
    shape: Shape | None


DOOR_STATES = (
    DoorState(name="1_door_open", meaning="pink noise in the hall, door open", laeq=71.0, shape=_PINK),
    DoorState(
        name="2_door_closed", meaning="the same, hollow-core double door closed", laeq=60.0,
        shape={20.0: -5.0, 125.0: -7.0, 250.0: -9.0, 1000.0: -12.0, 4000.0: -11.0, 20000.0: -13.0},
    ),
    DoorState(
        name="3_door_closed_curtain", meaning="the same, heavy curtain drawn", laeq=53.0,
        shape={20.0: -5.0, 125.0: -7.5, 250.0: -12.0, 1000.0: -19.0, 4000.0: -21.0, 20000.0: -25.0},
    ),
    DoorState(
        name="4_door_closed_curtain_seals", meaning="the same, perimeter and threshold sealed", laeq=49.0,
        shape={20.0: -5.5, 125.0: -9.0, 250.0: -14.0, 1000.0: -24.0, 4000.0: -29.0, 20000.0: -35.0},
    ),
    DoorState(name="5_background", meaning="noise in the hall switched off", laeq=ROOM_LAEQ, shape=None),
)  # fmt: skip
"""The door test in its order. Chosen: levels of a leaky door that gains most from being made tight."""


def calibration_tone_pa(sample_rate_hz: int) -> FloatArray:
    """Return the calibrator's tone, shape (samples,), Pa."""
    second = np.arange(round(TONE_S * sample_rate_hz)) / sample_rate_hz
    peak_pa = np.sqrt(2.0) * REFERENCE_PRESSURE_PA * 10.0 ** (TONE_DB / 20.0)
    return np.asarray(peak_pa * np.sin(2.0 * np.pi * TONE_HZ * second))


def door_state_pa(state: DoorState, seed: int, sample_rate_hz: int) -> FloatArray:
    """Return one recording of the door test, shape (samples,), Pa, with exactly its ``laeq``."""
    rng = np.random.default_rng([seed, 5, DOOR_STATES.index(state)])
    samples = round(STATE_S * sample_rate_hz)
    heard_pa = _scaled(shaped_noise(rng, samples, sample_rate_hz, _ROOM), ROOM_LAEQ, sample_rate_hz)
    if state.shape is not None:
        arriving = shaped_noise(rng, samples, sample_rate_hz, state.shape)
        heard_pa = heard_pa + _scaled(arriving, state.laeq, sample_rate_hz)
    return _scaled(heard_pa / REFERENCE_PRESSURE_PA, state.laeq, sample_rate_hz)


def _scaled(noise: FloatArray, laeq: float, sample_rate_hz: int) -> FloatArray:
    """Return *noise*, of whatever unit, with the wanted LAeq, Pa."""
    noise_pa = noise * REFERENCE_PRESSURE_PA
    return np.asarray(noise_pa * 10.0 ** ((laeq - whole_laeq(noise_pa, sample_rate_hz)) / 20.0))
