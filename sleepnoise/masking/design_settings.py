"""What a masker is asked to do, and what it may not do."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.audibility import INAUDIBLE_DB, MODEL_BANDS_HZ
from sleepnoise.masking.limits import DEFAULT_CAP_DBA, check_cap
from sleepnoise.masking.masker import NEIGHBOUR_STEP_DB

LOWEST_PLAYED_HZ = 100.0
"""Lowest band of the loudspeaker unless the user says otherwise. Chosen: small loudspeakers give next to
nothing below (12 cm² of cone moving 1.5 mm reach 68 dB at 1 m here and lose 12 dB an octave downwards)."""

LARGEST_STEP_DB = 5.0
"""Largest step between neighbours that may be asked for. Chosen: a third octave that stands out by more is
what practice calls a tone (common practice, no source)."""

MARGIN_RANGE_DB = (-15.0, 15.0)
"""Margins that may be aimed at. Chosen: as for plans, from five times the model's uncertainty below the
limit of hearing to just above "not noticeable"."""

_BANDS = np.array(MODEL_BANDS_HZ)


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignSettings:
    """What a masker is asked to do, and what it may not do.

    Attributes
    ----------
    margin_db : float, dB
        Audibility margin that events must not exceed; 0 is the limit of hearing them.
    together : bool
        Whether what all bands give away is put together, as published criteria above the limit of
        hearing do; otherwise the band that is heard best decides.
    cap_dba : float, dB(A)
        Loudest masker allowed.
    lowest_hz, highest_hz : float, Hz
        Nominal bands between which the loudspeaker plays.
    neighbour_step_db : float, dB
        Largest step from one band to the next.
    band_limits_db : mapping of float to float, dB
        Highest level of single bands, by nominal frequency.

    Raises
    ------
    SettingsError
        If one of them makes no sense.
    """

    margin_db: float = INAUDIBLE_DB
    together: bool = False
    cap_dba: float = DEFAULT_CAP_DBA
    lowest_hz: float = LOWEST_PLAYED_HZ
    highest_hz: float = MODEL_BANDS_HZ[-1]
    neighbour_step_db: float = NEIGHBOUR_STEP_DB
    band_limits_db: Mapping[float, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check_cap(self.cap_dba)
        _check_range("margin", self.margin_db, MARGIN_RANGE_DB, "dB")
        _check_range("step between neighbouring bands", self.neighbour_step_db, (0.0, LARGEST_STEP_DB), "dB")
        for hz in (self.lowest_hz, self.highest_hz, *self.band_limits_db):
            if hz not in MODEL_BANDS_HZ:
                raise SettingsError(
                    f"masker: bands are nominal third octaves from 20 to 12500 Hz, got {hz:g}.",
                    remedy="Give a nominal frequency such as 63, 100 or 3150.",
                )
        if not self.lowest_hz < self.highest_hz:
            raise SettingsError(
                f"masker: its lowest band must lie below its highest, got {self.lowest_hz:g} and "
                f"{self.highest_hz:g} Hz.",
                remedy="Give the range that the loudspeaker plays.",
            )

    @property
    def played(self) -> NDArray[np.bool_]:
        """Bands that the loudspeaker plays, shape (bands,)."""
        return np.asarray((self.lowest_hz <= _BANDS) & (self.highest_hz >= _BANDS))

    @property
    def limits_db(self) -> FloatArray:
        """Highest level of each band, shape (bands,), dB; ``inf`` where there is none."""
        return np.array([self.band_limits_db.get(hz, np.inf) for hz in MODEL_BANDS_HZ])


def _check_range(name: str, value: float, allowed: tuple[float, float], unit: str) -> None:
    lowest, highest = allowed
    if not lowest <= value <= highest:
        raise SettingsError(
            f"masker: the {name} must lie between {lowest:g} and {highest:g} {unit}, got {value:g}.",
            remedy=f"Give a value between {lowest:g} and {highest:g} {unit}.",
        )
