"""The character of a night's background, from its level history alone."""

from collections.abc import Sequence
from dataclasses import dataclass

from sleepnoise.character.hum_cycle import HumCycle, hum_cycle
from sleepnoise.character.low_frequency import (
    LowFrequencyContent,
    LowFrequencyCurve,
    c_minus_a_db,
    compared,
)
from sleepnoise.character.room_criteria import RoomCriteria, octave_levels, room_criteria
from sleepnoise.character.third_octave_tones import ToneSurvey, survey_tones
from sleepnoise.levels.history import LevelHistory, MaskArray
from sleepnoise.levels.statistics import band_equivalent_levels, level_statistics


@dataclass(frozen=True, slots=True, kw_only=True)
class BackgroundCharacter:
    """What a background is like.

    Attributes
    ----------
    seconds : float, s
        Background that was looked at.
    tones : ToneSurvey
    low_frequency : LowFrequencyContent
        Without curves if levels are relative to full scale.
    cycle : HumCycle
    room : RoomCriteria or None
        None if levels are relative to full scale.
    """

    seconds: float
    tones: ToneSurvey
    low_frequency: LowFrequencyContent
    cycle: HumCycle
    room: RoomCriteria | None


def character_of_background(
    history: LevelHistory,
    *,
    in_events: MaskArray | None = None,
    curves: Sequence[LowFrequencyCurve] = (),
    absolute: bool = True,
) -> BackgroundCharacter:
    """Say what the background of a night is like.

    Parameters
    ----------
    history : LevelHistory
        Of the night.
    in_events : ndarray, shape (ticks,), bool, optional
        Ticks that belong to events: not background, but looked at for cycling.
    curves : sequence of LowFrequencyCurve
        See :func:`low_frequency_curves`.
    absolute : bool
        False if levels are relative to full scale: nothing is then compared with levels.

    Returns
    -------
    BackgroundCharacter

    Notes
    -----
    The background is everything but events, averaged: in a quiet room that may be the noise of the
    recorder itself, so curves and ratings are upper bounds.
    """
    background = history if in_events is None else history.without(in_events)
    statistics = level_statistics(background)
    levels_db = band_equivalent_levels(background)
    return BackgroundCharacter(
        seconds=statistics.seconds - statistics.left_out_s,
        tones=survey_tones(background),
        low_frequency=LowFrequencyContent(
            c_minus_a_db=c_minus_a_db(statistics.lceq, statistics.laeq),
            curves=tuple(compared(history.nominal_hz, levels_db, curve) for curve in curves if absolute),
        ),
        cycle=hum_cycle(history),
        room=room_criteria(octave_levels(history.nominal_hz, levels_db)) if absolute else None,
    )
