"""What a background or a stretch of sound is like, in sentences and tables."""

import math
from collections.abc import Iterator
from datetime import tzinfo

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.character.background import BackgroundCharacter
from sleepnoise.character.hum_cycle import HumCycle
from sleepnoise.character.impulses import Impulsiveness
from sleepnoise.character.low_frequency import C_MINUS_A_DB, CurveComparison, LowFrequencyContent
from sleepnoise.character.narrow_band import LEAST_SPECTRA, SPECTRUM_S, Tonality
from sleepnoise.character.room_criteria import RoomCriteria, RoomRating
from sleepnoise.character.stretch import StretchCharacter
from sleepnoise.character.third_octave_tones import ToneSurvey
from sleepnoise.wording.rounding import (
    DOUBTS,
    clock_text,
    duration_text,
    level_text,
    number_text,
    signed_text,
)
from sleepnoise.wording.tables import Table, plain_column

FROM_MEMORY = "Formulae checked by printed examples, steps of the method from memory: unverified."
"""What has to be said of the narrow-band method."""


def background_sentences(background: BackgroundCharacter) -> tuple[str, ...]:
    """Return what a background is like, a sentence or two for each thing."""
    return (
        _survey_sentence(background.tones),
        _low_frequency_sentence(background.low_frequency),
        _cycle_sentence(background.cycle),
        *([] if background.room is None else [room_sentence(background.room)]),
    )


def stretch_sentences(stretch: StretchCharacter, zone: tzinfo) -> tuple[str, ...]:
    """Return what a stretch of sound is like: when it was, its tones, its impulses."""
    when = f"{duration_text(stretch.seconds)} from {clock_text(stretch.start, zone, seconds=True)}"
    return (
        f"Examined: {when}.",
        tonality_sentence(stretch.tonality),
        impulse_sentence(stretch.impulses, zone),
    )


def _survey_sentence(survey: ToneSurvey) -> str:
    if not survey.minutes:
        return "Tones: cannot tell; no minute of the background could be used."
    if not survey.tones:
        return (
            "No third octave stands out as a tone by the survey method of ISO 1996-2:2017, Annex K; "
            "weaker tones may still be heard."
        )
    told = ", ".join(
        f"{band_label(tone.nominal_hz)} Hz in {100 * tone.share:.0f} % of the minutes"
        for tone in survey.tones
    )
    return f"A tone stands out by the survey method of ISO 1996-2:2017, Annex K: {told}."


def _low_frequency_sentence(content: LowFrequencyContent) -> str:
    if content.prominent is None:
        return "Low frequencies: C minus A is not known."
    laeq, lceq = SYMBOLS["laeq"].text, SYMBOLS["lceq"].text
    more = "more than" if content.prominent else "not more than"
    hint = ": low frequencies need a closer look" if content.prominent else ""
    difference = f"{lceq} lies {level_text(content.c_minus_a_db)} dB above {laeq}"
    return f"{difference}, {more} the {C_MINUS_A_DB:g} dB of DIN 45680{hint}."


def _cycle_sentence(cycle: HumCycle) -> str:
    if cycle.verdict == "steady":
        return "No hum goes on and off."
    if cycle.verdict == "cannot tell":
        return f"Whether a hum goes on and off regularly: cannot tell; {cycle.reason}."
    return (
        f"A hum at {band_label(cycle.nominal_hz)} Hz goes on and off about every "
        f"{duration_text(cycle.period_s)} ({cycle.cycles} times seen); the band changes by "
        f"{cycle.depth_db:.0f} dB, the A-weighted level by {level_text(cycle.depth_dba)} dB, and it is on "
        f"for {100 * cycle.on_share:.0f} % of the time."
    )


def tonality_sentence(tonality: Tonality) -> str:
    """Return what the narrow-band method says, with how well its mean is known."""
    if math.isnan(tonality.audibility_db):
        return f"Tones: cannot tell; the method needs at least {SPECTRUM_S:g} s of sound."
    if not tonality.spectra_with_tone:
        found = "No tone is audible by the narrow-band method of ISO/PAS 20065"
    else:
        found = (
            f"A tone near {tonality.frequency_hz:.0f} Hz was audible in {tonality.spectra_with_tone} of "
            f"{tonality.spectra} spectra; mean audibility {level_text(tonality.audibility_db)} dB "
            f"(u {number_text(tonality.standard_uncertainty_db, 1)} dB from the spectra alone), KT "
            f"{tonality.adjustment_db:.0f} dB by ISO 1996-2:2017, Table J.1 "
            f"({tonality.coarse_adjustment_db:.0f} dB by its short form)"
        )
    short = f" Provisional: {tonality.spectra} spectra of {SPECTRUM_S:g} s, of {LEAST_SPECTRA} needed."
    return f"{found}. {FROM_MEMORY}" + ("" if tonality.enough else short)


def impulse_sentence(impulses: Impulsiveness, zone: tzinfo) -> str:
    """Return how impulsive a stretch is, and which rise decided."""
    decisive = impulses.decisive
    if decisive is None or not impulses.adjustment_db:
        return "Not impulsive by NT ACOU 112: no rise of the level is prominent."
    rise = f"{level_text(decisive.difference_db)} dB at {decisive.onset_rate_db_s:.0f} dB/s"
    when = clock_text(decisive.start, zone, seconds=True)
    return (
        f"{impulses.category.capitalize()} by NT ACOU 112: KI {level_text(impulses.adjustment_db)} dB. "
        f"Prominent rises: {impulses.onsets}; the foremost, at {when}, goes up by {rise} "
        f"(P {number_text(decisive.prominence, 1)})."
    )


def room_sentence(room: RoomCriteria) -> str:
    """Return the ratings of a background."""
    by = "the speech interference level" if room.nc_by_speech else _governing(room.nc)
    nc = f"NC {index_text(room.nc_index)} (ANSI/ASA S12.2-2019, by {by})"
    nr = f"NR {index_text(room.nr.index)} (ISO/R 1996:1971, by {_governing(room.nr)})"
    missing = ", ".join(band_label(hz) for hz in room.nc.not_measured_hz)
    without = f" Not measured: octaves of {missing} Hz." if missing else ""
    return f"The background rates {nc} and {nr}; the recorder's own noise may be part of it.{without}"


def _governing(rating: RoomRating) -> str:
    return (
        "no band"
        if math.isnan(rating.governing_hz)
        else f"the octave of {band_label(rating.governing_hz)} Hz"
    )


def index_text(index: float) -> str:
    """Return a rating for people.

    Examples
    --------
    >>> index_text(26.67), index_text(float("-inf")), index_text(float("nan"))
    ('27', 'below all curves', 'not known')
    """
    if math.isnan(index):
        return "not known"
    if math.isinf(index):
        return "above all curves" if index > 0 else "below all curves"
    return f"{index:.0f}"


def curve_table(content: LowFrequencyContent) -> Table:
    """Return how a background lies to low-frequency curves, one a row; nothing here is a verdict."""
    columns = (
        plain_column("Curve"), plain_column("Above it"), plain_column("Worst band, Hz", number=True),
        plain_column("Over the curve, dB", number=True), plain_column("Not measured, Hz"),
        plain_column("Source"),
    )  # fmt: skip
    rows = tuple(tuple(_curve_row(comparison)) for comparison in content.curves)
    return Table(title="Background and low-frequency curves (no verdict)", columns=columns, rows=rows)


def _curve_row(comparison: CurveComparison) -> Iterator[str]:
    source = comparison.curve.source
    doubt = DOUBTS.get(source.how_known)
    yield comparison.curve.name
    told = {True: "yes", False: "no", None: "cannot tell"}[comparison.exceeded]
    yield told if source.verified else "no verdict"
    yield "–" if math.isnan(comparison.worst_hz) else band_label(comparison.worst_hz)
    yield signed_text(comparison.excess_db)
    yield ", ".join(map(band_label, comparison.not_measured_hz)) or "–"
    yield f"{source.document}, {source.place}" + (f" ({doubt})" if doubt else "")
