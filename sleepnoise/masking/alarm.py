"""What a masker and a better door leave of an alarm at the pillow, by published rules.

A rule can be found short of; none of them says that a sleeper hears an alarm or wakes from it. So
the answers are *short by so much* and *not short by this rule*, never more.

Bands are third octaves on ``MODEL_BANDS_HZ``.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from sleepnoise.acoustics.bands import mid_band_hz
from sleepnoise.acoustics.decibels import FloatArray, combine, energy, level
from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.weighting import band_weighting_db, weighting_db
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.ageing import Listener
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, ear_noise_of, margin_db

NFPA_72 = Source(
    document="NFPA 72",
    place="sleeping areas: 75 dB(A), 15 dB over the average sound, as quoted on public pages",
    how_known="looked-up",
)
BS_5839_6 = Source(
    document="BS 5839-6:2004",
    place="commentary: doors take off about 20 dB, as quoted elsewhere",
    how_known="looked-up",
)
LEE_KIM_2018 = Source(
    document="Lee & Kim 2018, Indoor Built Environ 27(5):690-705",
    place="18 to 23 dB of closed doors in 17 flats",
    how_known="looked-up",
)
UL_217 = Source(
    document="UL 217", place="85 dB at 3 m, not above 3.5 kHz, as quoted elsewhere", how_known="looked-up"
)
ISO_7731_A = Source(
    document="ISO 7731", place="method a: 15 dB over the noise, at least 65 dB(A)", how_known="memory"
)
ISO_7731_B = Source(
    document="ISO 7731",
    place="third octaves: 13 dB over the masked threshold, which falls by 2.5 dB a band",
    how_known="memory",
)
SQUARE_WAVE = Source(
    document="Fourier series of a square wave", place="odd harmonics, amplitude 1/n", how_known="computed"
)

AT_PILLOW_DBA = 75.0
"""Level that an alarm should reach at the pillow, door shut. Source: NFPA_72."""
OVER_AVERAGE_DB = 15.0
"""Level that it should reach over the average sound there. Source: NFPA_72, and ISO_7731_A."""
LEAST_ALARM_DBA = 65.0
"""Level that a signal needs in any noise. Source: ISO_7731_A."""
OVER_MASKED_THRESHOLD_DB = 13.0
"""A third octave should exceed the masked threshold by this. Source: ISO_7731_B."""
MASKED_THRESHOLD_SLOPE_DB = 2.5
"""Fall of the masked threshold from one third octave to the next above. Source: ISO_7731_B."""

SOUNDER_AT_3_M_DBA = 85.0
"""Level of a domestic sounder at 3 m. Source: UL_217."""
SOUNDER_DISTANCE_M = 3.0
"""Distance of that level. Source: UL_217."""
DOOR_LOSS_DB = 23.0
"""Loss of a closed door that was not measured. Source: LEE_KIM_2018; the largest of 17 to 23 dB,
BS_5839_6 says about 20."""
LARGEST_DISTANCE_M = 100.0
"""Largest distance taken for an estimate, m. Chosen: beyond, nobody would rely on that sounder."""

OLDER_LISTENER = Listener(age_years=70, sex="male", share_hearing_better=0.9)
"""Whose hearing an alarm is weighed by, too. Chosen: published tables hold for healthy ears, and nine of ten
men of 70 among those hear better than this one."""

HIGHEST_HARMONIC_HZ = 12_500.0
"""Harmonics of the square wave that are counted. Chosen: the model's highest band."""

Pitch = Literal["high", "low"]
"""3.1 kHz, the usual piezo sounder, or a 520 Hz square wave."""

PITCH_HZ: dict[Pitch, float] = {"high": 3100.0, "low": 520.0}
"""Fundamental of each kind of alarm, Hz. Source: UL_217 and NFPA_72."""

_A_WEIGHTING_DB = band_weighting_db(MODEL_BANDS_HZ)


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """An alarm as it arrives at the pillow, the bedroom door shut.

    Attributes
    ----------
    pitch : {"high", "low"}
    level_dba : float, dB(A)
    measured : bool
        At the pillow; otherwise estimated.
    basis : str
        Where the level comes from, for people.
    """

    pitch: Pitch
    level_dba: float
    measured: bool
    basis: str

    @property
    def bands_db(self) -> FloatArray:
        """Band levels at the pillow, shape (bands,), dB."""
        return alarm_shape(self.pitch) + self.level_dba


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleOutcome:
    """One rule put to an alarm.

    Attributes
    ----------
    rule : str
    needed_dba : float, dB(A)
        Level of the alarm that the rule asks for.
    short_by_db : float, dB
        How much the alarm lacks; 0 when it is not short by this rule.
    source : Source
    """

    rule: str
    needed_dba: float
    short_by_db: float
    source: Source


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmCheck:
    """What is left of an alarm.

    Attributes
    ----------
    title : str
        Of the change: a treatment, or the room as it is.
    pitch : {"high", "low"}
    level_dba : float, dB(A)
        Of the alarm at the pillow after it.
    noise_dba : float, dB(A)
        Background and masker there.
    rules : tuple of RuleOutcome
    older_margin_db : float, dB
        How far the alarm lies above the limit of hearing of ``OLDER_LISTENER`` in this noise.
    """

    title: str
    pitch: Pitch
    level_dba: float
    noise_dba: float
    rules: tuple[RuleOutcome, ...]
    older_margin_db: float


def measured_alarm(pitch: Pitch, level_dba: float) -> Alarm:
    """Return an alarm that was measured at the pillow.

    Raises
    ------
    SettingsError
        If the level is none that an alarm has.
    """
    if not 0.0 <= level_dba <= 120.0:
        raise SettingsError(
            f"alarm: its level at the pillow must lie between 0 and 120 dB(A), got {level_dba:g}.",
            remedy="Measure it with the door shut, or leave it out and say the distance.",
        )
    return Alarm(pitch=pitch, level_dba=level_dba, measured=True, basis="measured at the pillow, door shut")


def estimated_alarm(pitch: Pitch, distance_m: float, door_loss_db: float = DOOR_LOSS_DB) -> Alarm:
    """Estimate an alarm behind a closed door: 85 dB(A) at 3 m, falling as in the open.

    Raises
    ------
    SettingsError
        If distance or loss make no sense.

    Examples
    --------
    >>> estimated_alarm("high", 6.0, 20.0).level_dba.__round__(1)
    59.0
    """
    if not 0.0 < distance_m <= LARGEST_DISTANCE_M:
        raise SettingsError(
            f"alarm: its distance must lie between 0 and {LARGEST_DISTANCE_M:g} m, got {distance_m:g}.",
            remedy="Give the way that its sound takes to the bedroom, in metres.",
        )
    if not 0.0 <= door_loss_db <= 60.0:
        raise SettingsError(
            f"alarm: the loss of the door must lie between 0 and 60 dB, got {door_loss_db:g}.",
            remedy="Give what the closed door takes off, or leave it out.",
        )
    # Nearer than 3 m it is not taken for louder: rooms do not follow the law of the open.
    spread_db = 20.0 * math.log10(max(distance_m / SOUNDER_DISTANCE_M, 1.0))
    return Alarm(
        pitch=pitch,
        level_dba=SOUNDER_AT_3_M_DBA - spread_db - door_loss_db,
        measured=False,
        basis=f"estimated: {SOUNDER_AT_3_M_DBA:g} dB(A) at {SOUNDER_DISTANCE_M:g} m, {distance_m:g} m away, "
        f"door {door_loss_db:g} dB; rooms and sounders differ by several decibels",
    )


def alarm_shape(pitch: Pitch) -> FloatArray:
    """Return the band levels of an alarm of 0 dB(A), shape (bands,), dB.

    One tone at 3.1 kHz; a square wave has odd harmonics that fall as 1/n.
    """
    fundamental_hz = PITCH_HZ[pitch]
    last = HIGHEST_HARMONIC_HZ / fundamental_hz if pitch == "low" else 1.0
    orders = np.arange(1, int(last) + 1, 2)
    partial_hz, partial_db = fundamental_hz * orders, -20.0 * np.log10(orders)
    energies = np.zeros(len(MODEL_BANDS_HZ))
    nearest = np.abs(np.log(partial_hz[:, None] / mid_band_hz(MODEL_BANDS_HZ))).argmin(axis=1)
    np.add.at(energies, nearest, energy(partial_db))
    total_dba = float(combine(partial_db + weighting_db(partial_hz, "A")))
    return level(energies) - total_dba


def masked_threshold_db(noise_db: ArrayLike) -> FloatArray:
    """Return the masked threshold of a noise, shape (bands,), dB: low bands also hide those above.

    References
    ----------
    ``ISO_7731_B``: each band counts at least as the one below less 2.5 dB.
    """
    threshold_db = np.array(noise_db, dtype=np.float64)
    for band in range(1, threshold_db.size):
        carried_db = threshold_db[band - 1] - MASKED_THRESHOLD_SLOPE_DB
        threshold_db[band] = np.fmax(threshold_db[band], carried_db)
    return threshold_db


def check_alarm(
    alarm: Alarm, masker: Spectrum, background: Spectrum, title: str, loss: Spectrum
) -> AlarmCheck:
    """Put the rules to an alarm after a change to the room.

    Parameters
    ----------
    alarm : Alarm
        As it is now.
    masker, background : Spectrum
        At the pillow, on ``MODEL_BANDS_HZ``. The background is not taken to get quieter by the change.
    title : str
        Of the change.
    loss : Spectrum
        What the change takes off the alarm, dB, on ``MODEL_BANDS_HZ``.
    """
    arriving_db = alarm.bands_db - loss.levels_db
    noise_db = level(energy(masker.levels_db) + _known_energy(background))
    level_dba = float(combine(arriving_db + _A_WEIGHTING_DB))
    noise_dba = float(combine(noise_db + _A_WEIGHTING_DB))
    sounding = np.isfinite(arriving_db)
    over_threshold_db = float(np.max(arriving_db[sounding] - masked_threshold_db(noise_db)[sounding]))
    average_dba = noise_dba + OVER_AVERAGE_DB
    needs = (
        ("75 dB(A) at the pillow", AT_PILLOW_DBA, NFPA_72),
        ("15 dB over the average sound", average_dba, NFPA_72),
        (
            "A: 15 dB over the noise and 65 dB(A)",
            max(average_dba, LEAST_ALARM_DBA),
            ISO_7731_A,
        ),
        (
            "B: 13 dB over the masked threshold in a third octave",
            level_dba + OVER_MASKED_THRESHOLD_DB - over_threshold_db,
            ISO_7731_B,
        ),
    )
    return AlarmCheck(
        title=title,
        pitch=alarm.pitch,
        level_dba=level_dba,
        noise_dba=noise_dba,
        rules=tuple(
            RuleOutcome(rule=rule, needed_dba=needed, short_by_db=max(needed - level_dba, 0.0), source=source)
            for rule, needed, source in needs
        ),
        older_margin_db=float(margin_db(arriving_db, noise_db, ear_noise_db=ear_noise_of(OLDER_LISTENER))),
    )


def alarm_cap_dba(level_dba: float, background_dba: float = -math.inf) -> float:
    """Return the loudest masker that leaves an alarm 15 dB over it and the background together, dB(A).

    ``-inf`` where the background alone leaves less.

    Examples
    --------
    >>> alarm_cap_dba(55.0), alarm_cap_dba(55.0, 37.0).__round__(1)
    (40.0, 37.0)
    """
    room = energy(level_dba - OVER_AVERAGE_DB) - energy(background_dba)
    return float(level(max(float(room), 0.0)))


def _known_energy(background: Spectrum) -> FloatArray:
    """Return band energies; a band that is not known hides nothing that is known of."""
    return energy(np.where(np.isnan(background.levels_db), -np.inf, background.levels_db))
