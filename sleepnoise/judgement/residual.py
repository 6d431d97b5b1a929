"""What is a source's own: a level without residual sound, adjustments for its character, what it emerges by.

Residual sound is all that is heard while the source is silent. It comes from stretches of the
same recording that somebody named, or was measured by other means; LA90 and its kin are not it.
"""

from dataclasses import replace

import numpy as np

from sleepnoise.acoustics.decibels import energy, level
from sleepnoise.acoustics.uncertainty import COVERAGE_95, combined, residual_uncertainty
from sleepnoise.judgement.band_findings import band_sum, octaves_db
from sleepnoise.judgement.circumstances import StatedLevel
from sleepnoise.judgement.coverage import Stretch, spans_stretch
from sleepnoise.judgement.criteria import Criterion
from sleepnoise.judgement.measured import Finding, Measured, Reading, level_said, nothing_found
from sleepnoise.judgement.uncertainty import SMALLEST_MARGIN_DB
from sleepnoise.night.window import NightWindow

SAME_PLACE_U_DB = 0.5
"""u of each of two levels of one recording whose difference is judged, dB. Chosen: calibration, microphone
and position are the same for both and cancel; this is left for where the stretches begin and end."""

SHORTEST_AMBIENT_S = 10.0
"""Least time with the source on, s. Source: Code de la santé publique, art. R1336-7 (looked up): sounds of
less than 10 s are measured over 10 s. Taken for all documents: the mean of a shorter stretch is no level."""

_TIMES_NEEDED = "this takes the times at which the source was on"
_RESIDUAL_NEEDED = "this takes the level with the source off, or times at which it was off"


# A level without the residual sound, and with what its character adds.


def of_source(reading: Reading, criterion: Criterion, measured: Measured, window: NightWindow) -> Reading:
    """Return a reading of everything as one of the source alone, if that can be told."""
    if not criterion.source_alone:
        return reading
    residual = _residual_of(criterion, measured, window)
    over_db = reading.measured_db - residual.level_db
    if np.isnan(residual.level_db):
        return replace(reading, doubt=f"how much of it is the source's is not known, {_RESIDUAL_NEEDED}")
    if not over_db > SMALLEST_MARGIN_DB:
        too_close = (
            f"with the source off it was {level_said(residual.level_db)}, too close to tell them apart"
        )
        return replace(reading, doubt=too_close)
    u_db, residual_u_db = (each / COVERAGE_95 for each in (measured.uncertainty_db, residual.uncertainty_db))
    of_alone_db = residual_uncertainty(reading.measured_db, residual.level_db, u_db, residual_u_db)
    less_db = float(level(1.0 - energy(-over_db)))
    return replace(
        reading,
        what=f"{reading.what} without residual sound",
        measured_db=reading.measured_db + less_db,
        at_least_db=reading.at_least_db + less_db,
        uncertainty_db=COVERAGE_95 * of_alone_db,
    )


def _residual_of(criterion: Criterion, measured: Measured, window: NightWindow) -> StatedLevel:
    said = measured.circumstances
    if criterion.quantity == "laeq" and said.residual is not None:
        return said.residual
    quantity = "laeq" if criterion.quantity == "laeq" else "band_leq"
    off = spans_stretch(measured.series[quantity], said.source_off, window)
    level_db = off.mean_db if quantity == "laeq" else band_sum(criterion, off, measured).measured_db
    return StatedLevel(level_db=level_db, uncertainty_db=measured.uncertainty_db)


def rated(reading: Reading, criterion: Criterion, measured: Measured) -> Reading:
    """Return a reading with what its document adds for the sound's character, as far as it was said."""
    said, added_db, unsaid = measured.circumstances.adjustments_db, 0.0, []
    for kind, sizes_db in criterion.adjustments.items():
        if kind not in said:
            unsaid.append(f"what has to be added for {_KINDS[kind]}")
        elif sizes_db and said[kind] not in sizes_db:
            known = ", ".join(f"{size:g}" for size in sizes_db)
            unsaid.append(f"an adjustment for {_KINDS[kind]} that the document has ({known} dB)")
        else:
            added_db += said[kind]
    return replace(
        reading,
        what=f"{reading.what} with {added_db:g} dB added" if added_db else reading.what,
        measured_db=reading.measured_db + added_db,
        at_least_db=reading.at_least_db + added_db,
        unsaid=f"this takes {' and '.join(unsaid)}" if unsaid else "",
    )


_KINDS = {"tone": "tones and information", "impulse": "impulses"}


# What it emerges by.


def emergence(criterion: Criterion, measured: Measured, window: NightWindow) -> Finding:
    """Return the finding on what a source may lie above the residual sound.

    Parameters
    ----------
    criterion : Criterion
    measured : Measured
    window : NightWindow
        Clock times of the criterion's period; only what was named within it counts.
    """
    said = measured.circumstances
    series = measured.series["laeq"]
    on, off = (spans_stretch(series, spans, window) for spans in (said.source_on, said.source_off))
    lacking = _lacking(criterion, measured, on, off)
    if lacking:
        return nothing_found("what the source adds is not known", lacking)
    ambient_db = on.mean_db
    reading = (
        _emergence_of_level(criterion, measured, on, off)
        if criterion.quantity == "laeq"
        else _emergence_of_octaves(criterion, measured, window)
    )
    reading = rated(reading, criterion, measured)
    waived, doubt = _waived(criterion, measured, ambient_db)
    return Finding(
        found=f"{reading.what} {_decibels(reading.measured_db)} with {level_said(ambient_db)} in all",
        allowed=f"{reading.value_db:g} dB of emergence",
        gap=reading.gap or "parts of the named times were not recorded",
        value_db=reading.value_db,
        measured_db=reading.measured_db,
        at_least_db=reading.at_least_db,
        complete=on.complete and (said.residual is not None or off.complete) and not reading.gap,
        uncertainty_db=reading.uncertainty_db,
        doubt=doubt,
        unsaid=reading.unsaid,
        waived=waived,
    )


def _lacking(criterion: Criterion, measured: Measured, on: Stretch, off: Stretch) -> str:
    """Return what an emergence needs and nobody said, or nobody measured; empty if nothing."""
    said = measured.circumstances
    in_all_s = on.recorded_s + off.recorded_s
    needs = {
        _TIMES_NEEDED: not on.whole_s,
        _RESIDUAL_NEEDED: not off.whole_s and said.residual is None,
        "octaves take times at which the source was off": not off.whole_s and bool(criterion.bands_db),
        f"this takes at least {SHORTEST_AMBIENT_S:g} s with the source on": (
            on.recorded_s < SHORTEST_AMBIENT_S
        ),
        f"the document wants {criterion.measured_min:g} min measured in all, with the source on and off": (
            said.residual is None and in_all_s < 60 * criterion.measured_min
        ),
    }
    return next((need for need, holds in needs.items() if holds), "")


def _emergence_of_level(criterion: Criterion, measured: Measured, on: Stretch, off: Stretch) -> Reading:
    typed = measured.circumstances.residual
    emergence_db = on.mean_db - (off.mean_db if typed is None else typed.level_db)
    u_db = _same_place_db() if typed is None else combined([measured.uncertainty_db, typed.uncertainty_db])
    terms = criterion.duration_terms
    added_db = next((add_db for minutes, add_db in terms if on.whole_s <= 60 * minutes), 0.0)
    # Beyond the last step that was seen nothing is added, unless the document has one more.
    open_db = terms[-1][1] if terms and on.whole_s > 60 * terms[-1][0] else 0.0
    return Reading(
        what="emergence",
        value_db=criterion.value_db + added_db,
        measured_db=emergence_db,
        at_least_db=emergence_db - open_db,
        uncertainty_db=u_db,
    )


def _emergence_of_octaves(criterion: Criterion, measured: Measured, window: NightWindow) -> Reading:
    said, series = measured.circumstances, measured.series.get("band_leq")
    if series is None:
        unknown = float("nan")
        return Reading(
            what="emergence in octaves", value_db=unknown, measured_db=unknown, at_least_db=unknown,
            gap="third octaves were not measured", uncertainty_db=_same_place_db(),
        )  # fmt: skip
    on, off = (
        octaves_db(spans_stretch(series, spans, window).bands_db)
        for spans in (said.source_on, said.source_off)
    )
    emergences = {hz: on.get(hz, np.nan) - off.get(hz, np.nan) for hz in criterion.bands_db}
    known = {hz: found for hz, found in emergences.items() if not np.isnan(found)}
    worst = max(known or emergences, key=lambda hz: emergences[hz] - criterion.bands_db[hz])
    missing = len(emergences) - len(known)
    return Reading(
        what=f"worst octave {worst:g} Hz, emergence",
        value_db=criterion.bands_db[worst],
        measured_db=emergences[worst],
        at_least_db=emergences[worst],
        gap=f"{missing} of {len(emergences)} octaves not measured" if missing else "",
        uncertainty_db=_same_place_db(),
    )


def _waived(criterion: Criterion, measured: Measured, ambient_db: float) -> tuple[str, str]:
    """Return why the rule is waived for so low a level, and why that is in doubt; empty if neither."""
    closed_db, open_db = criterion.applies_above_db, criterion.applies_above_open_db
    if closed_db is None:
        return "", ""
    windows = measured.circumstances.windows
    from_db = closed_db
    if open_db is not None and windows != "closed":
        from_db = open_db
    if ambient_db - from_db > measured.guard_db:
        return "", ""
    if ambient_db - from_db >= -measured.guard_db:
        near = f"{level_said(ambient_db)} is closer to {from_db:g} dB than the uncertainty"
        return "", f"{near}, and up to that level the rule is waived"
    if open_db is None:
        return f"up to {from_db:g} dB in all no emergence is looked at", ""
    if windows is None:
        return "", (
            f"the rule is waived up to {closed_db:g} dB with windows closed and {open_db:g} dB with windows "
            "open, and how they stood was not said"
        )
    return "", (
        f"with windows {windows} the rule is waived up to {from_db:g} dB; whether the other state "
        "of the windows decides too is read in two ways"
    )


def _same_place_db() -> float:
    return COVERAGE_95 * combined([SAME_PLACE_U_DB, SAME_PLACE_U_DB])


def _decibels(difference_db: float) -> str:
    return "not known" if np.isnan(difference_db) else f"{difference_db + 0.0:.1f} dB"
