"""Verdicts: what a night says to published night-noise values.

A level is compared with a guard band: the expanded uncertainty U on both sides of the value.
Within it, edges included, nobody can tell. A value known only from memory, one that is meant
outside or over a year, and a threshold where an effect begins are shown and give no verdict.

A value made for one kind of source, for closed windows or for a listener's ear binds only if
somebody says that it is so. All that is heard together is at least as loud as the source, so a
value is kept whatever made the sound; it is exceeded only if the circumstances were said.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sleepnoise.judgement.circumstances import NOTHING_SAID, Circumstances
from sleepnoise.judgement.coverage import Series, series_of
from sleepnoise.judgement.criteria import Criterion as Criterion
from sleepnoise.judgement.criteria import criteria_of as criteria_of
from sleepnoise.judgement.findings import finding_on
from sleepnoise.judgement.measured import SAME_DB, Finding, Measured
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.events import Event
from sleepnoise.night.window import NightWindow

Word = Literal["exceeded", "kept", "cannot tell", "shown only"]
"""Verdicts, in our own words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What one night says to one criterion.

    Attributes
    ----------
    criterion : Criterion
    word : Word
    reason : str
        One plain sentence, with the numbers that decided.
    measured_db : float
        ``nan`` when there is nothing to compare. For bands that of the band nearest to its
        value or farthest above; for a count that of the first event beyond the allowed number.
    margin_db : float
        Measured minus allowed, dB: positive is too loud. ``nan`` if not known.
    uncertainty_db : float
        Expanded (k = 2) uncertainty that the word rests on; ``nan`` if not known.
    count : int or None
        Events over the value, for rules about events.
    """

    criterion: Criterion
    word: Word
    reason: str
    measured_db: float
    margin_db: float
    uncertainty_db: float
    count: int | None


def judge(
    criteria: Iterable[Criterion],
    history: LevelHistory,
    events: Iterable[Event],
    window: NightWindow,
    *,
    absolute: bool,
    expanded_uncertainty_db: float,
    band_uncertainty_db: float | None = None,
    circumstances: Circumstances = NOTHING_SAID,
) -> tuple[Verdict, ...]:
    """Return what a night says to each criterion.

    Parameters
    ----------
    criteria : iterable of Criterion
    history : LevelHistory
        The whole recording.
    events : iterable of Event
        All events of the recording.
    window : NightWindow
        The user's night, for criteria without clock times of their own; its zone holds for all.
    absolute : bool
        Whether levels are calibrated. If not, nothing is judged.
    expanded_uncertainty_db : float, dB
        Expanded uncertainty U (k = 2) of a measured level; without one nothing is judged.
    band_uncertainty_db : float, dB, optional
        The same of third-octave levels, which differ more from place to place in a room.
    circumstances : Circumstances, optional
        What somebody said of the night.

    Returns
    -------
    tuple of Verdict
        In the order of the criteria.
    """
    return judge_series(
        criteria,
        series_of(history),
        events,
        window,
        absolute=absolute,
        expanded_uncertainty_db=expanded_uncertainty_db,
        band_uncertainty_db=band_uncertainty_db,
        circumstances=circumstances,
    )


def judge_series(
    criteria: Iterable[Criterion],
    series: Mapping[str, Series],
    events: Iterable[Event] | None,
    window: NightWindow,
    *,
    absolute: bool,
    expanded_uncertainty_db: float,
    band_uncertainty_db: float | None = None,
    circumstances: Circumstances = NOTHING_SAID,
) -> tuple[Verdict, ...]:
    """Return what a night says to each criterion, whoever measured its levels; see :func:`judge`.

    Parameters
    ----------
    series : mapping of str to Series
        Levels by the quantity of a criterion; what was not measured is missing.
    events : iterable of Event, or None
        All events; None if single events cannot be told apart.
    """
    if not absolute or np.isnan(expanded_uncertainty_db):
        return tuple(_uncalibrated(criterion, absolute) for criterion in criteria)
    measured = Measured(
        series=series,
        events=None if events is None else tuple(events),
        window=window,
        uncertainty_db=expanded_uncertainty_db,
        circumstances=circumstances,
    )
    of_bands = measured
    if band_uncertainty_db is not None:
        of_bands = replace(measured, uncertainty_db=band_uncertainty_db)
    return tuple(
        _verdict(criterion, of_bands if criterion.quantity in _BANDS else measured) for criterion in criteria
    )


_BANDS = ("band_leq", "octave_leq", "band_sum")


def _uncalibrated(criterion: Criterion, absolute: bool) -> Verdict:
    lacking = "the uncertainty of the calibration is not known" if absolute else "there is no calibration"
    reason = _sentence(f"{lacking}, so levels cannot be compared with published values")
    return _nothing_compared(criterion, "cannot tell", reason, float("nan"))


def _nothing_compared(criterion: Criterion, word: Word, reason: str, uncertainty_db: float) -> Verdict:
    return Verdict(
        criterion=criterion,
        word=word,
        reason=reason,
        measured_db=float("nan"),
        margin_db=float("nan"),
        uncertainty_db=uncertainty_db,
        count=None,
    )


def _verdict(criterion: Criterion, measured: Measured) -> Verdict:
    whys = _not_judged(criterion, measured.circumstances)
    if criterion.where == "outside":
        return _nothing_compared(criterion, "shown only", _sentence("; ".join(whys)), measured.uncertainty_db)
    finding = finding_on(criterion, measured)
    uncertainty_db = measured.uncertainty_db if finding.uncertainty_db is None else finding.uncertainty_db
    word, reason = _word(finding, uncertainty_db, _needed(criterion, measured.circumstances, finding))
    if whys:
        gap = [] if finding.complete or finding.gap in finding.found else [finding.gap]
        word, reason = "shown only", "; ".join([*whys, finding.found, *gap])
    level_db = finding.measured_db
    if criterion.count_allowed is not None and np.isneginf(level_db):
        level_db = float("nan")  # there is no event beyond the allowed number
    return Verdict(
        criterion=criterion,
        word=word,
        reason=_sentence(reason),
        measured_db=level_db,
        margin_db=level_db - finding.value_db,
        uncertainty_db=uncertainty_db,
        count=finding.count,
    )


def _not_judged(criterion: Criterion, said: Circumstances) -> list[str]:
    """Return the reasons for showing a value without a verdict; none if it is judged."""
    source, kinds, heard = criterion.source, criterion.source_kinds, criterion.only_if_heard
    other_kind = bool(kinds) and said.source_kind not in (None, *kinds)
    unheard = bool(heard) and said.heard is not None and set(heard).isdisjoint(said.heard)
    reasons = {
        "meant outside, so a level in the room cannot be compared with it": criterion.where == "outside",
        "meant for many nights, so one night cannot be compared with it": not criterion.single_night_ok,
        f"unverified, the value is known from {source.how_known} only": not source.verified,
        "an effect begins here, which is no limit": criterion.rule == "effect begins",
        f"made for {_listed(kinds)}, and the source was said to be {said.source_kind}": other_kind,
        f"made for sound with {_listed(heard)}, and the listener heard none": unheard,
        criterion.no_verdict_because: bool(criterion.no_verdict_because),
    }
    return [reason for reason, holds in reasons.items() if holds]


def _needed(criterion: Criterion, said: Circumstances, finding: Finding) -> str:
    """Return what must be said, or must change, before a value can count as exceeded; empty if nothing."""
    kinds, heard = _listed(criterion.source_kinds), _listed(criterion.only_if_heard)
    states = f"windows {criterion.windows}"
    needs = {
        f"this takes a source of the kind it is made for ({kinds}), which was not said": (
            bool(criterion.source_kinds) and said.source_kind is None
        ),
        f"this takes a listener who heard {heard}": bool(criterion.only_if_heard) and said.heard is None,
        f"this takes {states}, and how they stood was not said": (
            criterion.windows is not None and said.windows is None
        ),
        f"this takes {states}, and they were {said.windows}": (
            criterion.windows is not None and said.windows not in (None, criterion.windows)
        ),
        finding.doubt: bool(finding.doubt),
    }
    return "; ".join(need for need, holds in needs.items() if holds)


def _listed(words: Iterable[str]) -> str:
    return " or ".join(words)


def _word(finding: Finding, uncertainty_db: float, needed: str) -> tuple[Word, str]:
    """Return the word that a finding leads to, and why."""
    found, allowed, guard_db = finding.found, finding.allowed, uncertainty_db + SAME_DB
    if finding.waived or not allowed:
        return ("kept" if finding.waived else "cannot tell"), f"{found}: {finding.waived or finding.gap}"
    uncertainty = f"the uncertainty of {uncertainty_db:.1f} dB"
    over_db = finding.measured_db - finding.value_db
    if finding.at_least_db - finding.value_db > guard_db:
        if needed:
            return "cannot tell", f"{found}, more than {allowed}: {needed}"
        return "exceeded", f"{found}: more than {allowed}, by more than {uncertainty}"
    if not finding.complete or np.isnan(over_db):
        return "cannot tell", f"{found}: too little to say that {allowed} is kept, {finding.gap}"
    if over_db >= -guard_db:
        left_open = f"within the {allowed} that the document leaves open"
        near = f"closer to {allowed} than {uncertainty}"
        return "cannot tell", f"{found}: {left_open if over_db > guard_db else near}"
    if finding.unsaid:
        return "cannot tell", f"{found}, below {allowed}: {finding.unsaid}"
    return "kept", f"{found}: no more than {allowed}, with {uncertainty} counted in"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."
