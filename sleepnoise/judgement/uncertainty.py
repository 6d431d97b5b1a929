"""The uncertainty budget of a level in a bedroom, in the manner of ISO 1996-2.

Each contribution is a standard uncertainty ``u`` with a sensitivity coefficient ``c``; all are
taken as independent. ``u`` of the level is the root of the summed squares of ``c u``, and
``U = k u`` is the margin that verdicts keep on both sides of a published value.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sleepnoise.acoustics.source import Source
from sleepnoise.acoustics.uncertainty import COVERAGE_80, COVERAGE_95, combined, residual_sensitivities
from sleepnoise.errors import SettingsError
from sleepnoise.recording.calibration import ISO_1996_2_METER, METER_U_DB, Calibration

ISO_1996_2_RESIDUAL = Source(document="ISO 1996-2:2017", place="10.4, F.7 to F.9", how_known="library")
ISO_1996_2_REPEATS = Source(
    document="ISO 1996-2:2017", place="clause 4, repeated measurements", how_known="library"
)
ROOM_STATISTICS = Source(
    document="statistics of diffuse sound in rooms",
    place="relative variance of squared pressure between positions, 1/(1 + B T/6.9)",
    how_known="memory",
)
OUR_CHOICE = Source(document="this program", place="chosen, see the basis", how_known="assumption")

Quantity = Literal["weighted", "low bands"]
"""A-weighted levels, or third octaves up to about 200 Hz."""

POSITION_U_DB: dict[Quantity, float] = {"weighted": 1.0, "low bands": 3.0}
"""u of one microphone position for the level in the room, dB.

Chosen: ROOM_STATISTICS gives 0.7 dB for 500 Hz of bandwidth in a furnished bedroom (T = 0.5 s), raised for
what lies nearer to window or door; it gives 3.2 dB for the third octave at 50 Hz and 2.1 dB at 200 Hz. Tones
vary more: below 200 Hz differences of over 20 dB between places were reported (Oliva, Hongisto et al.,
Measurement of low frequency noise in rooms, 2011; looked up, abstract only)."""

SMALLEST_MARGIN_DB = 3.0
"""Margin over the residual sound up to which nothing may be taken off, dB. Source: ISO_1996_2_RESIDUAL."""

GUARD_BAND_TEXT = (
    "No measured level is exact. Beside each level stands a margin: repeated with other good instruments "
    "at other good places in the room, about 95 of 100 results would lie within it. A published value "
    "counts as exceeded only if the level lies above it by more than the margin: even where the true "
    "level lies right at the value, that happens only about once in 40 times. It counts as kept only if "
    "the level lies below it by more than the margin. Between the two nobody can tell from this "
    "measurement, and the verdict says so. A smaller margin takes a better calibration, more microphone "
    "positions or more nights, not a kinder reading."
)
"""What the margin around a value means, in plain words, for every report."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One reason why a level may be off.

    Attributes
    ----------
    name : str
    standard_db : float, dB
        Standard uncertainty u.
    sensitivity : float
        How the level follows: its change for a change of 1 dB here.
    basis : str
        Where the number comes from, in plain words.
    source : Source
    """

    name: str
    standard_db: float
    sensitivity: float = 1.0
    basis: str
    source: Source

    @property
    def product_db(self) -> float:
        """What it contributes, ``|c| u``, dB."""
        return abs(self.sensitivity) * self.standard_db


@dataclass(frozen=True, slots=True, kw_only=True)
class UncertaintyBudget:
    """Everything that makes a level uncertain, and what it adds up to.

    Attributes
    ----------
    quantity : Quantity
    contributions : tuple of Contribution
    not_included : tuple of str
        What may matter too and is in no number, for people.
    """

    quantity: Quantity
    contributions: tuple[Contribution, ...]
    not_included: tuple[str, ...] = ()

    @property
    def combined_db(self) -> float:
        """Combined standard uncertainty u, dB; ``nan`` if a contribution is not known."""
        return combined([contribution.product_db for contribution in self.contributions])

    @property
    def expanded_db(self) -> float:
        """Expanded uncertainty U, k = 2, for 95 %, dB."""
        return COVERAGE_95 * self.combined_db

    @property
    def expanded_80_db(self) -> float:
        """Expanded uncertainty, k = 1.3, for 80 %, dB."""
        return COVERAGE_80 * self.combined_db


def of_recorder(calibration: Calibration) -> tuple[Contribution, ...]:
    """Return what a recorder and its calibration contribute: the parts that ``Calibration`` gives.

    They hold the instrument already (frequency response, detector, microphone), so nothing
    else may count it again.
    """
    if calibration.parts:
        return tuple(
            Contribution(name=part.what, standard_db=part.standard_db, basis=part.basis, source=OUR_CHOICE)
            for part in calibration.parts
        )
    whole = Contribution(
        name="recorder and its calibration",
        standard_db=calibration.expanded_uncertainty_db / COVERAGE_95,
        basis=f"microphone, frequency response and gain together; calibration {calibration.origin}",
        source=OUR_CHOICE,
    )
    return (whole,)


def of_meter(meter_class: int) -> tuple[Contribution, ...]:
    """Return what a sound level meter of class 1 or 2 contributes, checked with a calibrator at the place.

    Raises
    ------
    SettingsError
        If there is no such class.
    """
    if meter_class not in METER_U_DB:
        raise SettingsError(
            f"uncertainty: the class of a sound level meter must be 1 or 2, got {meter_class}.",
            remedy="Give the class that is printed on the meter; without one, take 2.",
        )
    meter = Contribution(
        name=f"sound level meter of class {meter_class}",
        standard_db=METER_U_DB[meter_class],
        basis="frequency weighting, detector and microphone within its class, checked with a calibrator",
        source=ISO_1996_2_METER,
    )
    return (meter,)


def budget_for(
    instrument: Sequence[Contribution],
    quantity: Quantity = "weighted",
    *,
    positions: int = 1,
    nights_db: Sequence[float] = (),
    residual: tuple[float, float, float] | None = None,
) -> UncertaintyBudget:
    """Return the uncertainty budget of a level in a room.

    Parameters
    ----------
    instrument : sequence of Contribution
        From ``of_recorder`` or ``of_meter``.
    quantity : {"weighted", "low bands"}, optional
    positions : int, optional
        Microphone positions over which the level was averaged.
    nights_db : sequence of float, dB, optional
        Levels of several nights, if their mean is what is stated.
    residual : tuple of three float, dB, optional
        Measured level, residual level that was taken off it, and u of the latter.

    Returns
    -------
    UncertaintyBudget

    Raises
    ------
    SettingsError
        If there is no position, or the residual sound is too loud to be taken off.
    """
    if positions < 1:
        raise SettingsError(
            f"uncertainty: at least one microphone position is needed, got {positions}.",
            remedy="Count the places in the room at which was measured.",
        )
    parts = [*instrument, _of_position(quantity, positions)]
    not_included = [_NOT_AS_USUAL]
    if len(nights_db) > 1:
        parts.append(_of_nights(nights_db))
    else:
        not_included.append(_OTHER_NIGHTS)
    if residual is not None:
        parts = _with_residual(parts, *residual)
    return UncertaintyBudget(quantity=quantity, contributions=tuple(parts), not_included=tuple(not_included))


_OTHER_NIGHTS = "Other nights: one night was measured, and what is said holds for that night."
_NOT_AS_USUAL = (
    "What was not as usual that night: windows, doors or curtains set differently, or something before "
    "the microphone."
)


def _of_position(quantity: Quantity, positions: int) -> Contribution:
    several = f", {positions} positions averaged" if positions > 1 else ", one position"
    what = {"weighted": "A-weighted levels", "low bands": "third octaves up to 200 Hz"}[quantity]
    return Contribution(
        name="position in the room",
        standard_db=POSITION_U_DB[quantity] / positions**0.5,
        basis=f"levels differ from place to place in a furnished bedroom, {what}{several}",
        source=ROOM_STATISTICS,
    )


def _of_nights(nights_db: Sequence[float]) -> Contribution:
    spread_db = float(np.std(nights_db, ddof=1))
    return Contribution(
        name="choice of nights",
        standard_db=spread_db / len(nights_db) ** 0.5,
        basis=f"{len(nights_db)} nights that differ by {spread_db:.1f} dB (standard deviation) stand for all",
        source=ISO_1996_2_REPEATS,
    )


def _with_residual(
    parts: Sequence[Contribution], level_db: float, residual_db: float, residual_u_db: float
) -> list[Contribution]:
    """Return contributions to a level without its residual sound: all weigh more, and it adds its own."""
    if not level_db - residual_db > SMALLEST_MARGIN_DB:
        raise SettingsError(
            f"uncertainty: the residual sound must lie more than {SMALLEST_MARGIN_DB:g} dB below the level, "
            f"got {level_db:g} dB over {residual_db:g} dB.",
            remedy="State the level as it was measured, as an upper bound, and take nothing off.",
        )
    of_level, of_residual = (float(c) for c in residual_sensitivities(level_db, residual_db))
    scaled = [
        Contribution(
            name=part.name,
            standard_db=part.standard_db,
            sensitivity=part.sensitivity * of_level,
            basis=part.basis,
            source=part.source,
        )
        for part in parts
    ]
    own = Contribution(
        name="residual sound",
        standard_db=residual_u_db,
        sensitivity=of_residual,
        basis=f"{residual_db:.1f} dB of residual sound taken off {level_db:.1f} dB",
        source=ISO_1996_2_RESIDUAL,
    )
    return [*scaled, own]
