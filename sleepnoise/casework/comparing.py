"""Nights of a dossier held against each other: by kind, before and after a change, by how windows stood."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sleepnoise.casework.dossier import Dossier, Night, kept_content
from sleepnoise.casework.night_results import is_assessed, result_folder
from sleepnoise.comparison.before_after import BeforeAfter, before_and_after
from sleepnoise.comparison.groups import NightGroup, groups_of
from sleepnoise.comparison.night_figures import NightFigures, figures_from_document
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.plain import CONVENTIONS, plain_value

SCHEMA = {"name": "sleepnoise/nights-compared", "version": 1}
"""Name and version of the document. Chosen: raised whenever a key changes its meaning."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What a treatment did.

    Attributes
    ----------
    title : str
    first_evening : date
        After it.
    by_windows : mapping of str to BeforeAfter
        By how the windows stood; only where there are nights on both sides.
    """

    title: str
    first_evening: date
    by_windows: Mapping[str, BeforeAfter]


@dataclass(frozen=True, slots=True, kw_only=True)
class NightsCompared:
    """Nights of one bedroom, compared.

    Attributes
    ----------
    title : str
        Of the dossier.
    nights : tuple of NightFigures
        In order of time.
    not_assessed : tuple of str
        Nights without a result that rests on what the dossier says now; in no figure.
    groups : tuple of NightGroup
        Nights that may be pooled, with their days of the week.
    changes : tuple of Change
        Of treatments that the dossier names, or the one that was asked for.
    windows : BeforeAfter or None
        Windows open, and then closed.
    """

    title: str
    nights: tuple[NightFigures, ...]
    not_assessed: tuple[str, ...]
    groups: tuple[NightGroup, ...]
    changes: tuple[Change, ...]
    windows: BeforeAfter | None


def compare_nights(dossier: Dossier, since: date | None = None) -> NightsCompared:
    """Compare the assessed nights of a dossier.

    Parameters
    ----------
    dossier : Dossier
    since : date, optional
        First evening after a change; nights that begin earlier were before it. Without it, each treatment
        of the dossier is looked at, from the one before to the one after it.

    Raises
    ------
    SettingsError
        If a result is no assessment, or nights on the two sides differ in hours or kind of level.
    """
    assessed = {night.name: is_assessed(dossier, night) for night in dossier.nights}
    nights = tuple(_figures(dossier, night) for night in dossier.nights if assessed[night.name])
    return NightsCompared(
        title=dossier.about.title,
        nights=nights,
        not_assessed=tuple(name for name, done in assessed.items() if not done),
        groups=groups_of(nights),
        changes=_treatments(dossier, nights) if since is None else (_asked_for(nights, since),),
        windows=_windows(nights),
    )


def _figures(dossier: Dossier, night: Night) -> NightFigures:
    path = result_folder(dossier, night) / "assessment.json"
    content = kept_content(dossier, path)
    try:
        document = json.loads(content)
    except (ValueError, RecursionError):
        raise RecordingError(
            f"{path}: is no JSON, though the journal knows it as it is.",
            remedy="Assess the night again from its recording.",
        ) from None
    return figures_from_document(
        document,
        name=night.name,
        window_state=night.file.windows,
        day_label=night.file.day,
    )


def _treatments(dossier: Dossier, nights: tuple[NightFigures, ...]) -> tuple[Change, ...]:
    treatments = sorted(dossier.about.treatment, key=lambda each: each.first_evening)
    edges = [date.min, *(each.first_evening for each in treatments), date.max]
    return tuple(
        Change(
            title=each.title,
            first_evening=each.first_evening,
            by_windows=_by_windows(
                [night for night in nights if edges[place] <= night.evening < edges[place + 2]],
                each.first_evening,
            ),
        )
        for place, each in enumerate(treatments)
    )


def _asked_for(nights: tuple[NightFigures, ...], since: date) -> Change:
    found = _by_windows(nights, since)
    if not found:
        raise SettingsError(
            f"nights: no two were measured before and from {since.isoformat()} on with the windows alike.",
            remedy="Measure on both sides of the change, and note how the windows stood.",
        )
    return Change(title="the change", first_evening=since, by_windows=found)


def _by_windows(nights: Sequence[NightFigures], since: date) -> dict[str, BeforeAfter]:
    found = {}
    for state in sorted({night.window_state for night in nights}):
        alike = [night for night in nights if night.window_state == state]
        before = [night for night in alike if night.evening < since]
        after = [night for night in alike if night.evening >= since]
        if before and after:
            found[state] = before_and_after(before, after)
    return found


def _windows(nights: tuple[NightFigures, ...]) -> BeforeAfter | None:
    opened, closed = (
        [night for night in nights if night.window_state == state] for state in ("open", "closed")
    )
    return before_and_after(opened, closed) if opened and closed else None


def comparison_document(compared: NightsCompared) -> dict[str, Any]:
    """Return the document of compared nights: everything, unrounded."""
    document = plain_value(
        {
            "schema": SCHEMA,
            "conventions": {**CONVENTIONS, "windows": "before is open, after is closed"},
            "dossier": compared.title,
            "nights": compared.nights,
            "not_assessed": compared.not_assessed,
            "groups": compared.groups,
            "changes": compared.changes,
            "windows": compared.windows,
        }
    )
    assert isinstance(document, dict)
    return document
