"""Limits for a plan by the names of published values, instead of numbers typed by hand.

A plan holds two levels: LAeq of the night and LAFmax of its events. A published value becomes such a
limit only if it says just that, is verified, and what it is made for was said. Nothing is guessed.
"""

from collections.abc import Sequence
from pathlib import Path

from sleepnoise.errors import SettingsError
from sleepnoise.judgement.criteria import Criterion, criteria_of
from sleepnoise.planning.bedroom_plan import PublishedLimit, PublishedLimits
from sleepnoise.profiles.files import read_guideline
from sleepnoise.profiles.guideline import SourceKind, Windows

_AS_LIMITS = {("laeq", "period"), ("lafmax", "event")}
"""Quantities that a plan holds, and over what."""


def published_limits(
    asked_for: Sequence[str],
    window: tuple[str, str],
    source_kind: SourceKind | None = None,
    windows: Windows | None = None,
) -> PublishedLimits:
    """Return the limits that published values set to a plan.

    Parameters
    ----------
    asked_for : sequence of str
        Names or files of guidelines; of one criterion as ``NAME:CRITERION``.
    window : tuple of str
        Clock times of the night that the plan is made for.
    source_kind, windows : optional
        What somebody said.

    Raises
    ------
    ProfileError
        If there is no such guideline.
    SettingsError
        If it has no such criterion, or none that is a limit for this plan: the reasons are said.
    """
    used: list[PublishedLimit] = []
    passed: list[str] = []
    for word in asked_for:
        name, wanted = _parts(word)
        criteria = criteria_of(read_guideline(name))
        chosen = [each for each in criteria if wanted in ("", each.id)]
        if not chosen:
            raise SettingsError(
                f"guideline {name}: has no criterion {wanted!r:.60}.",
                remedy=f"Name one of {', '.join(each.id for each in criteria)}.",
            )
        reasons = {each.id: _no_limit(each, window, source_kind, windows) for each in chosen}
        limits = [_limit(each, name) for each in chosen if not reasons[each.id]]
        passed += [f"{each.title}: {reasons[each.id]}." for each in chosen if reasons[each.id]]
        if not limits:
            raise SettingsError(
                f"guideline {word}: sets this plan no limit. {_listed(chosen, reasons)}",
                remedy="Say what it asks for, name another, or give a level with --laeq or --lafmax.",
            )
        used += limits
    return PublishedLimits(used=tuple(used), passed_over=tuple(passed))


def _parts(word: str) -> tuple[str, str]:
    """Return guideline and criterion; a path may hold a colon, a criterion no slash and no dot."""
    name, colon, criterion = word.rpartition(":")
    if not colon or not name or set(criterion) & set("/\\."):
        return word, ""
    return name, criterion


def _listed(criteria: Sequence[Criterion], reasons: dict[str, str]) -> str:
    return " ".join(f"{each.id}: {reasons[each.id]}." for each in criteria)


def _limit(criterion: Criterion, name: str) -> PublishedLimit:
    return PublishedLimit(
        guideline=criterion.guideline,
        criterion=criterion.title,
        quantity=criterion.quantity,
        level_db=criterion.value_db,
        # Of a range that a document leaves open, the lower end surely keeps it.
        allowed=criterion.count_allowed or 0,
        document=str(criterion.source),
        # Of a file its name alone: a plan's document tells nobody's folders.
        named=f"{Path(name).name}:{criterion.id}",
    )


def _no_limit(
    criterion: Criterion,
    window: tuple[str, str],
    source_kind: SourceKind | None,
    windows: Windows | None,
) -> str:
    """Return why a value is no limit for a plan; empty if it is one."""
    kinds, source = " or ".join(criterion.source_kinds), criterion.source
    reasons = {
        "is meant outside": criterion.where == "outside",
        f"is unverified, known from {source.how_known} only": not source.verified,
        f"is for {criterion.quantity} over the {criterion.over}, which no plan holds": (
            (criterion.quantity, criterion.over) not in _AS_LIMITS or criterion.level_db is None
        ),
        f"is a rule of another kind ({criterion.rule})": criterion.rule not in ("not exceeded", "count"),
        "is meant for many nights": not criterion.single_night_ok,
        criterion.no_verdict_because: bool(criterion.no_verdict_because),
        f"is made for {kinds}: say it with --source-kind": bool(kinds) and source_kind is None,
        f"is made for {kinds}, and {source_kind} was said": (
            bool(kinds) and source_kind is not None and source_kind not in criterion.source_kinds
        ),
        f"is made for windows {criterion.windows}: say how they stand with --windows": (
            criterion.windows is not None and windows is None
        ),
        f"is made for windows {criterion.windows}, and {windows} was said": (
            criterion.windows is not None and windows not in (None, criterion.windows)
        ),
        f"asks a listener for {' or '.join(criterion.only_if_heard)}": bool(criterion.only_if_heard),
        f"adds to the level for {' and '.join(criterion.adjustments)}, which no plan knows": (
            bool(criterion.adjustments)
        ),
        "allows more to short sounds, which no plan counts": bool(criterion.duration_terms),
        f"is for {'-'.join(criterion.period or ())}, and the night is {'-'.join(window)}": (
            criterion.period is not None and tuple(criterion.period) != window
        ),
    }
    return next((reason for reason, holds in reasons.items() if holds), "")
