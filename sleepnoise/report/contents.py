"""What the page of a night holds, in order: the one list that HTML and PDF are both made from.

A result of another room joins by one line here, a :class:`Section` with its sentences and tables.
"""

from collections.abc import Iterable, Iterator
from textwrap import shorten

from sleepnoise.assessing.cautions import cautions_of
from sleepnoise.assessing.record import NightRecord
from sleepnoise.evidence.chosen_numbers import chosen_numbers
from sleepnoise.judgement.uncertainty import GUARD_BAND_TEXT
from sleepnoise.levels.statistics import PERCENTILE_CONVENTION
from sleepnoise.report.drawings import map_figure, spectra_figure, trace_figure
from sleepnoise.report.page_data import PAGE_EVENTS
from sleepnoise.report.sections import DEPTH, NUMBERS, READERS, Reader, Section
from sleepnoise.report.sound_sections import sound_sections
from sleepnoise.report.spectrum_plot import spectra_of
from sleepnoise.report.trade_plot import map_of_first_plan
from sleepnoise.wording import next_steps, plan_table, quality_table, sentences, tables, verdicts
from sleepnoise.wording.rounding import duration_text, level_text, unit_text
from sleepnoise.wording.tables import Table, plain_column
from sleepnoise.wording.words_used import words_table

LISTED_FAULTS = 200
"""Faults listed on the page. Chosen: a night with more is no evidence anyway; the document has them all."""

TABLE_SPECTRA = 5
"""Event spectra in the table. Chosen: fits a printed page beside the background."""

LONGEST_VALUE = 60
"""Letters shown of a value that we chose. Chosen: a line; longer ones are tables, to be read in the code."""


def sections_of(record: NightRecord) -> tuple[Section, ...]:
    """Return every section of a night's page, in order."""
    sections = _told(record)
    diary = Section(key="diary", title="Diary", readers=("resident",), tables=(next_steps.diary(),))
    resident = [section for section in sections if "resident" in section.readers]
    return (*sections, _words("words", ("resident",), resident), _words("terms", NUMBERS, sections), diary)


def _told(record: NightRecord) -> tuple[Section, ...]:
    return (
        _short(record),
        Section(
            key="next", title="What to do next", readers=("resident",),
            points=next_steps.resident_steps(record),
        ),
        *_for_the_owner(record),
        Section(key="night", title="The night", figures=(trace_figure(record),), template="night.html"),
        _values(record),
        _events(record),
        *sound_sections(record),
        *((_what_if(record),) if record.plan.events and record.assessment.absolute else ()),
        _plan(record),
        Section(
            key="cautions", title="Cautions", points=tuple(cautions_of(record)), template="cautions.html"
        ),
        Section(
            key="map", title="Third octaves", readers=DEPTH, figures=(map_figure(record),),
            template="map.html",
        ),
        _intervals(record),
        _measured(record),
        _chosen(),
    )  # fmt: skip


def _words(key: str, readers: tuple[Reader, ...], sections: Iterable[Section]) -> Section:
    """Return the section that explains the words of others, for their readers."""
    table = words_table(text for section in sections for text in _texts_of(section))
    return Section(
        key=key, title="Words on this page", readers=readers, tables=(table,),
        notes=("More on each word, with its source: sleepnoise explain WORD.",),
    )  # fmt: skip


def _texts_of(section: Section) -> Iterator[str]:
    yield from (section.title, *section.sentences, *section.points, *section.notes)
    yield from (figure.description for figure in section.figures)
    for table in (*section.tables, *section.folded):
        yield table.title
        yield from (column.text for column in table.columns)
        yield from (cell for row in table.rows for cell in row)


def _short(record: NightRecord) -> Section:
    night = record.assessment
    note = f"Levels in {unit_text(night)}"
    if night.absolute:
        uncertainty = level_text(night.expanded_uncertainty_db)
        note += f" re 20 µPa; expanded uncertainty ±{uncertainty} dB (k = 2), see how it was measured"
    figures = tables.key_figures(night.statistics)
    return Section(
        key="short", title="In short", sentences=sentences.in_short(record), notes=(f"{note}.",),
        tables=(
            Table(
                title=f"Key figures, {unit_text(night)}",
                columns=(*(column for column, _ in figures), plain_column("Events", number=True)),
                rows=((*(value for _, value in figures), str(len(night.events))),),
            ),
        ),
        template="short.html",
    )  # fmt: skip


def _for_the_owner(record: NightRecord) -> tuple[Section, ...]:
    readers: tuple[Reader, ...] = ("landlord",)
    options = next_steps.owner_options(record)
    return (
        Section(
            key="findings", title="What was found, and how far it goes", readers=readers,
            points=next_steps.owner_findings(record),
        ),
        Section(
            key="options", title="What can be done, and who decides", readers=readers,
            tables=(options,) if options.rows else (), points=next_steps.owner_duties(),
        ),
    )  # fmt: skip


def _values(record: NightRecord) -> Section:
    heads = (
        plain_column("Verdict"), plain_column("Published value"), plain_column("Allowed, dB", number=True),
        plain_column("Measured, dB", number=True), plain_column("Difference, dB", number=True),
        plain_column("Uncertainty, dB", number=True),
    )  # fmt: skip
    rows = tuple(
        (
            row.word,
            f"{group.guideline}: {row.criterion}{f' ({row.doubt})' if row.doubt else ''}. {row.reason} "
            f"For {row.applies_to}. Source: {row.source}.",
            row.allowed, row.measured, row.margin, row.uncertainty,
        )
        for group in verdicts.verdict_groups(record.assessment.verdicts)
        for row in group.rows
    )  # fmt: skip
    return Section(
        key="values", title="Guideline values",
        # Without calibration each row says the same, which "In short" has said once.
        readers=READERS if record.assessment.absolute else DEPTH,
        notes=(
            "A value counts as exceeded or kept only if the difference is larger than the uncertainty. Which "
            "of these documents applies is decided by the place and the source of the sound, not by this "
            "page.",
        ),
        tables=(Table(title="What this night says to each published value", columns=heads, rows=rows),),
        template="values.html",
    )  # fmt: skip


def _events(record: NightRecord) -> Section:
    night = record.assessment
    zone = night.window.zone
    if not night.events:
        return Section(key="events", title="Events", sentences=("No sound stood out from the background.",))
    loudest = tables.loudest_events(night.events)
    listed = night.events[:PAGE_EVENTS]
    return Section(
        key="events", title="Events", figures=(spectra_figure(record),),
        tables=(tables.event_table("The loudest events, levels in dB", loudest, zone),),
        folded=(
            tables.spectrum_table("Third-octave levels, dB", spectra_of(record, TABLE_SPECTRA)),
            tables.event_table("All events in order of time, levels in dB", listed, zone),
        ),
        notes=_shortened(len(listed), len(night.events), "events", "events.csv"),
        template="events.html",
    )  # fmt: skip


def _shortened(shown: int, all_of_them: int, what: str, file: str) -> tuple[str, ...]:
    return (
        () if shown == all_of_them else (f"The first {shown} {what} of {all_of_them}; {file} has them all.",)
    )


def _what_if(record: NightRecord) -> Section:
    plan = record.plan
    return Section(
        key="what-if", title="What if",
        sentences=(
            "Try a masking sound, a measure and an even loss of sound from outside: the page works out anew "
            f"which events lie above the audibility margin of {plan.settings.margin_db:g} dB, with the model "
            "that the plan uses.",
        ),
        notes=(
            "Published models of audibility differ by about 3 dB either way. A measure is a typical value "
            "for the path it treats; sound takes other paths too. The background is taken to fall with the "
            "events.",
        ),
        template="what_if.html", live_only=True,
    )  # fmt: skip


def _plan(record: NightRecord) -> Section:
    plan = record.plan
    title = "First plan: isolation and masking"
    if not record.assessment.absolute:
        return Section(key="plan", title=title, readers=NUMBERS, sentences=(sentences.NO_PLAN,))
    heads = (
        plain_column("Isolation step"), plain_column("Quietest or closest masker"),
        plain_column(plan_table.AUDIBLE_HEAD, number=True),
    )  # fmt: skip
    kept = f"all but {plan.settings.events_allowed} events" if plan.settings.events_allowed else "every event"
    hearing = ", the limit of hearing" if plan.settings.margin_db == 0 else ""
    trade = map_of_first_plan(plan, "trade-map")
    return Section(
        key="plan", title=title, readers=NUMBERS,
        sentences=(
            "For each isolation step and shape of a steady masking sound: the quietest masker at the pillow "
            f"that keeps {kept} below an audibility margin of {plan.settings.margin_db:g} dB{hearing}. As "
            f"the room is, {plan.audible_now} of {plan.events} events lie above it. No masker louder than "
            f"{plan.settings.cap_dba:g} dB(A) is proposed.",
        ),
        figures=() if trade is None else (trade,),
        tables=(Table(title="Best masker behind each step", columns=heads, rows=plan_table.best_rows(plan)),),
        points=tuple(f"{caution} ({steps})" for caution, steps in plan_table.step_cautions(plan)),
        template="plan.html",
    )  # fmt: skip


def _intervals(record: NightRecord) -> Section:
    night = record.assessment
    zone = night.window.zone
    return Section(
        key="intervals", title="Intervals", readers=DEPTH,
        tables=(tables.interval_table("Hours", night.hours, zone),),
        folded=(tables.interval_table("Quarter hours", night.quarter_hours, zone),),
        notes=(
            f"Local time; levels in {unit_text(night)}. ○ marks an interval that the recording covers in "
            "part only.",
        ),
    )  # fmt: skip


def _measured(record: NightRecord) -> Section:
    night = record.assessment
    faults = quality_table.fault_table(record.quality[:LISTED_FAULTS], night.window.zone)
    none_found = (
        "Nothing went wrong while it was recorded as far as can be told: no overload, no gap, no sign of "
        "automatic gain, of coding losses, of knocks or of wind."
    )
    parts = record.budgets[0].not_included if record.budgets else ()
    versions = ", ".join(f"{name} {version}" for name, version in record.provenance.versions.items())
    return Section(
        key="measured", title="How it was measured", readers=NUMBERS,
        sentences=(
            f"Recording: {sentences.recording_text(record)}.",
            f"{duration_text(night.statistics.left_out_s)} of the night window was in no statistic; "
            f"{duration_text(night.window_s - night.statistics.seconds)} of it was not recorded.",
            *(() if faults.rows else (none_found,)),
        ),
        points=record.remarks,
        tables=(
            _texts("What was decided, and where it came from",
                   ("Subject", "Decided", "Came from", "Option that decides otherwise"),
                   sentences.decisions(record)),
            *((faults,) if faults.rows else ()),
            *(quality_table.budget_table(budget) for budget in record.budgets),
        ),
        folded=(
            _texts("Settings of events and plan", ("Setting", "Value"), sentences.settings_lines(record)),
            _texts("Files that this page was made from", ("File", "Used as", "Bytes", "SHA-256"), (
                (mark.name, mark.role, str(mark.size_bytes), mark.sha256) for mark in record.provenance.inputs
            )),
        ),
        notes=(
            f"Levels exceeded N % of the time: {PERCENTILE_CONVENTION}",
            *((f"Not included in the uncertainty: {' '.join(parts)}", GUARD_BAND_TEXT) if parts else ()),
            *_shortened(len(faults.rows), len(record.quality), "faults", "assessment.json"),
            f"Versions: {versions}.",
        ),
    )  # fmt: skip


def _chosen() -> Section:
    rows = (
        (each.name, shorten(each.value, LONGEST_VALUE, placeholder=" …"), each.reason, each.where)
        for each in chosen_numbers()
    )
    heads = ("Name", "Value", "What it is, and why", "Where")
    return Section(
        key="chosen", title="Numbers that we chose", readers=DEPTH,
        sentences=(
            "No standard fixes these; we chose them, each with a reason. Whoever would choose otherwise can "
            "say so, and see what changes.",
        ),
        folded=(_texts("Numbers that we chose", heads, rows),),
    )  # fmt: skip


def _texts(title: str, heads: Iterable[str], rows: Iterable[tuple[str, ...]]) -> Table:
    return Table(title=title, columns=tuple(map(plain_column, heads)), rows=tuple(rows))
