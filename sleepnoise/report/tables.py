"""Results as tables of text: the only place that rounds, for the terminal and the page alike.

Levels are shown to a tenth of a decibel. Nothing is compared after rounding: verdicts are
made from unrounded levels and come in as words.
"""

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, tzinfo

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.dossier.record import AssessSettings, NightRecord
from sleepnoise.isolation.steps import IsolationStep
from sleepnoise.levels.statistics import LevelStatistics
from sleepnoise.night.assessment import NightAssessment
from sleepnoise.night.events import Event
from sleepnoise.night.guidelines import Verdict, Word
from sleepnoise.night.intervals import Interval
from sleepnoise.planning.first_plan import FirstPlan, MaskerChoice

LOUDEST = 12
"""Events that are shown first. Chosen: fills one printed page together with their spectra."""

MARKS: dict[Word, str] = {"exceeded": "▲", "kept": "●", "cannot tell": "?", "shown only": "·"}
"""A shape for each verdict, so that nobody needs to tell colours apart."""

DOUBTS = {"memory": "unverified", "assumption": "assumed"}
"""Printed beside a value, by how it is known; nothing beside those that were seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """Head of a column.

    Attributes
    ----------
    text, html : str
        For a terminal and for a page. Never made from a user's text.
    number : bool
        Whether its cells are lined up as numbers.
    """

    text: str
    html: str
    number: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of text; the first cell of a row names the row."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


def level_text(level_db: float, decimals: int = 1) -> str:
    """Return a level for people, without its unit.

    Examples
    --------
    >>> level_text(34.25), level_text(float("-inf")), level_text(float("nan"))
    ('34.2', 'silence', 'not known')
    """
    if math.isnan(level_db):
        return "not known"
    if math.isinf(level_db):
        return "silence" if level_db < 0 else "over silence"
    # Adding zero turns -0.0 into 0.0.
    return f"{round(level_db, decimals) + 0.0:.{decimals}f}"


def signed_text(difference_db: float) -> str:
    """Return a difference with its sign, a true minus in front."""
    if not math.isfinite(difference_db):
        return "–"
    text = f"{round(difference_db, 1) + 0.0:+.1f}"
    return text.replace("-", "−").replace("+0.0", "0.0")


def axis_text(level_db: float) -> str:
    """Return a level for an axis, with a true minus."""
    return f"{level_db:g}".replace("-", "−")


def duration_text(seconds: float) -> str:
    """Return a length of time for people.

    Examples
    --------
    >>> duration_text(0.75), duration_text(95.2), duration_text(28800.0)
    ('0.8 s', '1 min 35 s', '8 h')
    """
    if seconds < 60 and round(seconds, 1) < 60:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole % 3600 // 60, whole % 60
    parts = [(hours, "h"), (minutes, "min"), (rest if not hours else 0, "s")]
    return " ".join(f"{amount} {unit}" for amount, unit in parts if amount)


def clock_text(instant: datetime, zone: tzinfo, *, seconds: bool = False) -> str:
    """Return the local clock time of an instant."""
    return instant.astimezone(zone).strftime("%H:%M:%S" if seconds else "%H:%M")


def date_text(instant: datetime, zone: tzinfo) -> str:
    """Return the local date and clock time of an instant, with its offset from UTC."""
    local = instant.astimezone(zone)
    offset = local.isoformat()[-6:]
    return f"{local.day} {MONTHS[local.month - 1]} {local.year}, {local:%H:%M:%S} (UTC{offset})"


MONTHS = (
    "January", "February", "March", "April", "May", "June", "July",
    "August", "September", "October", "November", "December",
)  # fmt: skip
"""Names of the months, whatever language the machine is set to."""


def night_text(night: NightAssessment) -> str:
    """Return the dates that the night window lies on, such as ``"Night of 14 to 15 January 2026"``."""
    window = night.window.overlapping(night.start, night.end)
    first, last = (instant.astimezone(night.window.zone) for instant in window)
    ending = f"{last.day} {MONTHS[last.month - 1]} {last.year}"
    if first.date() == last.date():
        return f"Night of {ending}"
    month = "" if first.month == last.month else f" {MONTHS[first.month - 1]}"
    year = "" if first.year == last.year else f" {first.year}"
    return f"Night of {first.day}{month}{year} to {ending}"


def unit_text(night: NightAssessment) -> str:
    """Return what levels of this night are in decibels of."""
    return "dB" if night.absolute else "dB re full scale"


def key_figures(statistics: LevelStatistics) -> tuple[tuple[Column, str], ...]:
    """Return the handful of levels that everybody asks for first."""
    names = ("laeq", "lafmax", "la10", "la50", "la90", "lceq")
    return tuple((column(name), level_text(getattr(statistics, name))) for name in names)


def interval_table(title: str, intervals: Iterable[Interval], zone: tzinfo) -> Table:
    """Return intervals, one a row; incomplete ones are marked with a ring."""
    names = ("laeq", "lafmax", "lasmax", "la1", "la10", "la50", "la90", "la99", "lceq", "lcpeak")
    rows = (
        (
            clock_text(interval.start, zone) + ("" if interval.complete else " ○"),
            *(level_text(getattr(interval.statistics, name)) for name in names),
        )
        for interval in intervals
    )
    return Table(title=title, columns=(_plain("From"), *map(column, names)), rows=tuple(rows))


def loudest_events(events: Iterable[Event], count: int = LOUDEST) -> tuple[Event, ...]:
    """Return the events with the highest ``lafmax``, loudest first."""
    return tuple(sorted(events, key=lambda event: -event.lafmax)[:count])


def event_table(title: str, events: Iterable[Event], zone: tzinfo) -> Table:
    """Return events, one a row."""
    columns = (
        _plain("Event", number=True), _plain("Time"), _plain("Lasts", number=True),
        *map(column, ("lafmax", "lasmax", "lae")),
        Column(text="over LA90", html="over L<sub>A90</sub>", number=True),
        Column(text="LA90 before", html="L<sub>A90</sub> before", number=True),
        _plain("Remarks"),
    )  # fmt: skip
    return Table(title=title, columns=columns, rows=tuple(_event_row(event, zone) for event in events))


def _event_row(event: Event, zone: tzinfo) -> tuple[str, ...]:
    remarks = [part for part in (event.label, event.group, *event.flags) if part]
    return (
        str(event.number),
        clock_text(event.start, zone, seconds=True),
        duration_text(event.duration_s),
        level_text(event.lafmax),
        level_text(event.lasmax),
        level_text(event.lae),
        signed_text(event.emergence_db),
        level_text(event.background_la90),
        "; ".join(remarks),
    )


def spectrum_table(title: str, spectra: dict[str, Spectrum]) -> Table:
    """Return spectra side by side, one band a row; all must have the same bands."""
    bands = next(iter(spectra.values())).nominal_hz
    rows = (
        (
            band_label(nominal),
            *(level_text(float(spectrum.levels_db[place])) for spectrum in spectra.values()),
        )
        for place, nominal in enumerate(bands)
    )
    heads = (_plain(name, number=True) for name in spectra)
    return Table(title=title, columns=(_plain("Band, Hz", number=True), *heads), rows=tuple(rows))


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictRow:
    """One verdict in words."""

    mark: str
    word: Word
    criterion: str
    allowed: str
    measured: str
    margin: str
    uncertainty: str
    reason: str
    applies_to: str
    source: str
    url: str
    note: str
    doubt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictGroup:
    """The verdicts on the values of one document."""

    guideline: str
    jurisdiction: str
    rows: tuple[VerdictRow, ...]


def verdict_groups(verdicts: Iterable[Verdict]) -> tuple[VerdictGroup, ...]:
    """Return all verdicts in words, by document, in the order they were given."""
    rows: dict[tuple[str, str], list[VerdictRow]] = {}
    for verdict in verdicts:
        document = (verdict.criterion.guideline, verdict.criterion.jurisdiction)
        rows.setdefault(document, []).append(_verdict_row(verdict))
    return tuple(
        VerdictGroup(guideline=guideline, jurisdiction=jurisdiction, rows=tuple(of_document))
        for (guideline, jurisdiction), of_document in rows.items()
    )


def _verdict_row(verdict: Verdict) -> VerdictRow:
    criterion = verdict.criterion
    return VerdictRow(
        mark=MARKS[verdict.word],
        word=verdict.word,
        criterion=criterion.title,
        allowed="by band" if criterion.level_db is None else f"{criterion.level_db:g}",
        measured=_measured_text(verdict),
        margin="–" if criterion.rule == "count" else signed_text(verdict.margin_db),
        uncertainty=f"±{verdict.uncertainty_db:.1f}" if math.isfinite(verdict.uncertainty_db) else "–",
        reason=verdict.reason,
        applies_to=criterion.applies_to,
        source=f"{criterion.source.document}, {criterion.source.place}",
        # An address from a profile becomes a link only if it is one.
        url=criterion.source.url if criterion.source.url.startswith(("https://", "http://")) else "",
        note=criterion.note,
        doubt=DOUBTS.get(criterion.source.how_known, ""),
    )


def _measured_text(verdict: Verdict) -> str:
    if verdict.criterion.rule == "count" and verdict.count is not None:
        return f"{verdict.count} above"
    return level_text(verdict.measured_db) if math.isfinite(verdict.measured_db) else "–"


def verdict_counts(verdicts: Iterable[Verdict]) -> dict[Word, int]:
    """Return how often each verdict was given, in the order of ``MARKS``."""
    given = Counter(verdict.word for verdict in verdicts)
    return {word: given[word] for word in MARKS}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanCell:
    """What one masker shape does behind one isolation step."""

    text: str
    detail: str
    reachable: bool
    best: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRow:
    """One isolation step with every masker shape."""

    step: str
    source: str
    doubt: str
    cells: tuple[PlanCell, ...]


def plan_shapes(plan: FirstPlan) -> tuple[str, ...]:
    """Return the masker shapes of a plan, each once."""
    return tuple(dict.fromkeys(choice.shape for choice in plan.choices))


def plan_rows(plan: FirstPlan) -> tuple[PlanRow, ...]:
    """Return the plan, one isolation step a row, one masker shape a cell."""
    # A step behind which no masker helps at all has no best one.
    helping = (choice for choice in plan.best if choice.reachable or choice.audible_events < plan.audible_now)
    best = {(choice.step.key, choice.shape) for choice in helping}
    steps = {choice.step.key: choice.step for choice in plan.choices}
    return tuple(
        PlanRow(
            step=step.title,
            source=_step_source(step),
            doubt=DOUBTS.get(step.source.how_known, ""),
            cells=tuple(
                _plan_cell(choice, plan, (key, choice.shape) in best)
                for choice in plan.choices
                if choice.step.key == key
            ),
        )
        for key, step in steps.items()
    )


def step_cautions(plan: FirstPlan) -> tuple[tuple[str, str], ...]:
    """Return every caution of the isolation steps once, with the steps that it is for."""
    steps: dict[str, list[str]] = {}
    for step in {choice.step.key: choice.step for choice in plan.choices}.values():
        for caution in step.cautions:
            steps.setdefault(caution, []).append(step.title)
    return tuple((caution, "; ".join(titles)) for caution, titles in steps.items())


def best_rows(plan: FirstPlan) -> tuple[tuple[str, str, str], ...]:
    """Return for each isolation step its title, its best masker and how many events stay audible."""
    return tuple(
        (_step_title(choice.step), _masker_words(choice), f"{choice.audible_events} of {plan.events}")
        for choice in plan.best
    )


def _step_title(step: IsolationStep) -> str:
    doubt = DOUBTS.get(step.source.how_known)
    return f"{step.title} ({doubt})" if doubt else step.title


def _masker_words(choice: MaskerChoice) -> str:
    if not choice.reachable or math.isinf(choice.level_dba):
        return masker_text(choice)
    return f"{choice.shape}, {masker_text(choice)}"


def _step_source(step: IsolationStep) -> str:
    spread = f"; published values differ by {step.spread_db:g} dB" if step.spread_db else ""
    return f"{step.source.document}, {step.source.place}{spread}"


def masker_text(choice: MaskerChoice) -> str:
    """Return what a choice asks for: ``"no masker"``, a level, or that the target is out of reach."""
    if not choice.reachable:
        return "not reachable"
    if math.isinf(choice.level_dba):
        return "no masker needed"
    return f"{level_text(choice.level_dba, 0)} dB(A)"


def _plan_cell(choice: MaskerChoice, plan: FirstPlan, best: bool) -> PlanCell:
    left = f"{choice.audible_events} of {plan.events} audible"
    if not choice.reachable:
        at = (
            "without masker"
            if math.isinf(choice.level_dba)
            else f"at {level_text(choice.level_dba, 0)} dB(A)"
        )
        left = f"{left} {at}"
    return PlanCell(text=masker_text(choice), detail=left, reachable=choice.reachable, best=best)


def decisions(record: NightRecord) -> tuple[tuple[str, str, str, str], ...]:
    """Return what was decided: subject, value, where it came from, how to pin it."""
    start, settings = record.start, record.settings
    zone = record.assessment.window.zone
    channel = f"{settings.channel} of {record.audio.channels}"
    guidelines = ", ".join(record.guidelines)
    return (
        ("Start", date_text(start.utc, zone), start.origin, "--start"),
        ("Zone", start.zone, start.zone_origin, "--zone"),
        ("Calibration", _calibration_text(record), record.calibration.origin, "--tone, --full-scale-level"),
        ("Channel", channel, _origin("channel", settings), "--channel"),
        ("Night", record.assessment.window.text, _origin("window", settings), "--window"),
        ("Guidelines", guidelines, _origin("guidelines", settings), "--guideline"),
    )


def _origin(name: str, settings: AssessSettings) -> str:
    return "default" if getattr(settings, name) == getattr(AssessSettings(), name) else "your option"


def _calibration_text(record: NightRecord) -> str:
    calibration = record.calibration
    if not calibration.absolute:
        return "none"
    uncertainty = calibration.expanded_uncertainty_db
    return f"{calibration.pascal_per_full_scale:.4g} Pa at full scale, ±{uncertainty:.1f} dB (k = 2)"


def column(name: str) -> Column:
    """Return the head of a quantity's column."""
    return Column(text=SYMBOLS[name].text, html=SYMBOLS[name].html, number=True)


def _plain(text: str, *, number: bool = False) -> Column:
    return Column(text=text, html=text, number=number)
