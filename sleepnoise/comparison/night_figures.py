"""The handful of figures by which one night is compared with others."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sleepnoise.errors import SettingsError
from sleepnoise.judgement.assessment import NightAssessment
from sleepnoise.judgement.coverage import WHOLE_SHARE
from sleepnoise.night.window import NightWindow

FREE_AHEAD = (4, 5)
"""Weekdays of evenings before a free day, Monday being 0. Chosen: Friday and Saturday; holidays need
a label."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightFigures:
    """One night in figures.

    Attributes
    ----------
    name : str
        Where they come from, such as the name of a folder.
    evening : date
        Local date on which the night begins.
    window : str
        Local clock hours, such as ``"23:00-07:00"``.
    window_state : str
        How the bedroom's windows stood, in words such as ``"closed"``; empty if nobody noted it.
    day_label : str
        What kind of day it was, in the user's words; empty for none.
    absolute : bool
        Whether levels are calibrated.
    expanded_uncertainty_db : float, dB
        U (k = 2) of a level; ``nan`` if not known.
    measured_share : float
        Part of the night window that the figures stand for.
    laeq, lafmax, la90 : float, dB
    events : int
    verdicts : mapping of str to str
        Criterion, with its document, to verdict.
    """

    name: str
    evening: date
    window: str
    window_state: str
    day_label: str
    absolute: bool
    expanded_uncertainty_db: float
    measured_share: float
    laeq: float
    lafmax: float
    la90: float
    events: int
    verdicts: Mapping[str, str]

    @property
    def whole(self) -> bool:
        """Whether the figures stand for all of the night window."""
        return self.measured_share >= WHOLE_SHARE

    @property
    def free_day_ahead(self) -> bool:
        """Whether the next day is a Saturday or Sunday."""
        return self.evening.weekday() in FREE_AHEAD


def figures_of(
    assessment: NightAssessment, *, name: str, window_state: str = "", day_label: str = ""
) -> NightFigures:
    """Return the figures of an assessed night.

    Parameters
    ----------
    assessment : NightAssessment
    name, window_state, day_label : str
        See :class:`NightFigures`.
    """
    statistics = assessment.statistics
    return NightFigures(
        name=name,
        evening=_evening(assessment.window, assessment.start, assessment.end),
        window=assessment.window.text,
        window_state=window_state,
        day_label=day_label,
        absolute=assessment.absolute,
        expanded_uncertainty_db=assessment.expanded_uncertainty_db,
        measured_share=(statistics.seconds - statistics.left_out_s) / assessment.window_s,
        laeq=statistics.laeq,
        lafmax=statistics.lafmax,
        la90=statistics.la90,
        events=len(assessment.events),
        verdicts={
            f"{verdict.criterion.guideline}: {verdict.criterion.title}": verdict.word
            for verdict in assessment.verdicts
        },
    )


def figures_from_document(
    document: Mapping[str, Any], *, name: str, window_state: str = "", day_label: str = ""
) -> NightFigures:
    """Return the figures of a night from what its ``assessment.json`` holds.

    Parameters
    ----------
    document : mapping
        As read by a JSON parser.
    name, window_state, day_label : str
        See :class:`NightFigures`.

    Raises
    ------
    SettingsError
        If the document is no assessment, or one of another layout.
    """
    try:
        night, statistics = document["night"], document["night"]["statistics"]
        measured_s = statistics["duration_s"] - statistics["left_out_s"]
        window = NightWindow.parse(document["settings"]["window"], document["recording"]["zone"])
        start, end = (datetime.fromisoformat(night[name]) for name in ("start_utc", "end_utc"))
        return NightFigures(
            name=name,
            evening=_evening(window, start, end),
            window=window.text,
            window_state=window_state,
            day_label=day_label,
            absolute=bool(document["calibration"]["absolute"]),
            expanded_uncertainty_db=_level(document["uncertainty"]["expanded_db"]),
            measured_share=measured_s / night["window_s"],
            laeq=_level(statistics["LAeq_dB"]),
            lafmax=_level(statistics["LAFmax_dB"]),
            la90=_level(statistics["LA90_dB"]),
            events=int(night["events"]),
            verdicts={
                f"{each['criterion']['guideline']}: {each['criterion']['title']}": str(each["word"])
                for each in document["verdicts"]
            },
        )
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        raise SettingsError(
            f"{name}: is no assessment of a night that can be compared: "
            f"{type(error).__name__} {error!s:.200}.",
            remedy="Give the assessment.json that 'sleepnoise assess' has written.",
        ) from error


def _evening(window: NightWindow, start: datetime, end: datetime) -> date:
    return window.overlapping(start, end)[0].astimezone(window.zone).date()


def _level(value: float | str | None) -> float:
    """Return a level as files have it: null is not known, and infinities are written as words."""
    return float("nan") if value is None else float(value)
