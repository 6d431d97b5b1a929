"""What the page of a dossier holds, in order."""

from collections.abc import Iterator
from textwrap import shorten

from sleepnoise.casework.dossier import PAPERS
from sleepnoise.dossier.plan_summary import PlanSummary
from sleepnoise.evidence.chosen_numbers import chosen_numbers
from sleepnoise.evidence.provenance import library_versions
from sleepnoise.judgement.uncertainty import GUARD_BAND_TEXT
from sleepnoise.report.case_proofs import proof_section
from sleepnoise.report.kept_case import KeptCase
from sleepnoise.report.night_strip import MOST_ROWS, strip_figure
from sleepnoise.report.nights_sections import nights_sections
from sleepnoise.report.plan_sections import plan_sections, plan_sources
from sleepnoise.report.room_sections import (
    advice_sections,
    door_section,
    door_sources,
    paths_section,
    room_caution_points,
)
from sleepnoise.report.sections import DEPTH, NUMBERS, Section
from sleepnoise.trials.door_test import CAUTIONS as DOOR_CAUTIONS
from sleepnoise.wording import case_words as words
from sleepnoise.wording import next_steps
from sleepnoise.wording.comparison_words import change_sentences, nights_table
from sleepnoise.wording.kept_plan_words import plan_verdict
from sleepnoise.wording.tables import Table, plain_column

LONGEST_VALUE = 60
"""Letters shown of a value that we chose. Chosen: a line; longer ones are tables, to be read in the code."""


def case_sections(case: KeptCase) -> list[Section]:
    """Return every section of a dossier's page, in order."""
    sections = [_short(case), _next(case), _status(case), *_nights(case)]
    sections += _sounds(case)
    sections += nights_sections(
        case.compared,
        [(each.first_evening, each.title) for each in case.dossier.about.treatment],
        listed=False,
    )
    sections += _door_tests(case)
    if case.study is not None:
        sections += [paths_section(case.study, "paths"), *advice_sections(case.study, "treatments")]
    sections += [*_plan(case), proof_section(case)]
    return [
        *sections,
        Section(key="duties", title="Who decides, and what has to be asked", readers=("landlord",),
                points=next_steps.owner_duties()),
        Section(key="cautions", title="Cautions", points=_cautions(case), template="cautions.html"),
        _method(case),
        *_evidence(case),
        _chosen(),
    ]  # fmt: skip


def _short(case: KeptCase) -> Section:
    sentences = list(words.case_sentences(case.dossier, case.points, case.compared))
    for change in case.compared.changes:
        if not change.by_windows:
            sentences.append(f"{change.title}: what it did cannot be told yet.")
        for state, found in change.by_windows.items():
            told = f"{change.title}, windows {state or 'not noted'}"
            sentences.append(f"{told}: {change_sentences(found)[0]}")
    if case.plans:
        name, plan = list(case.plans.items())[-1]
        sentences.append(f"Latest plan ({name}): {plan_verdict(plan)}")
    sentences += [f"Cannot be read: {what}: {why}" for what, why in case.not_read.items()]
    return Section(key="short", title="In short", sentences=tuple(sentences))


def _next(case: KeptCase) -> Section:
    lacking = [point for point in case.points if point.state != "there" and point.remedy]
    return Section(
        key="next", title="What to do next",
        points=tuple(f"{point.what}: {point.remedy}" for point in lacking)
        or ("Nothing is missing: decide on the plan, carry out its first step, and measure again.",),
    )  # fmt: skip


def _status(case: KeptCase) -> Section:
    return Section(
        key="status", title="What this rests on", tables=(words.points_table(case.points),),
        template="exhibits.html",
    )  # fmt: skip


def _nights(case: KeptCase) -> Iterator[Section]:
    if not case.nights:
        return
    more = len(case.nights) - MOST_ROWS
    yield Section(
        key="nights", title="Nights", figures=(strip_figure(case.nights, "strip"),),
        tables=(nights_table("Nights, levels in dB", case.compared.nights),),
        notes=(
            "The whole page of each night, with every event, lies in its folder in the dossier.",
            *((f"The drawing shows the last {MOST_ROWS} nights; {more} earlier ones are in the table.",)
              if more > 0 else ()),
        ),
        template="exhibits.html",
    )  # fmt: skip
    verdicts = words.verdict_table_of(case.compared.groups)
    yield Section(
        key="values", title="Guideline values", tables=(verdicts,),
        folded=(_night_verdicts(case),),
        notes=(
            "Values that are shown only, such as effect thresholds, values outdoors or for a year, are no "
            "verdicts; the list of every night has them."
            if verdicts.rows
            else "No night that was measured whole was judged, so no share of nights can be told.",
        ),
        template="exhibits.html",
    )  # fmt: skip


def _night_verdicts(case: KeptCase) -> Table:
    rows = tuple(
        (night.evening.isoformat(), criterion, word)
        for night in case.compared.nights
        for criterion, word in night.verdicts.items()
    )
    heads = tuple(map(plain_column, ("Night", "Published value", "Verdict")))
    return Table(title="Every verdict, night by night", columns=heads, rows=rows)


def _sounds(case: KeptCase) -> list[Section]:
    sketches = {night.name: night.sketch for night in case.nights if night.sketch is not None}
    if not sketches:
        return []
    sounds, own = words.sounds_table(sketches), words.own_table_of(sketches)
    unnamed = sum(each.unnamed for each in sketches.values())
    told = (
        () if own.rows else ("Nobody has said which sounds are the sleeper's or the room's own: all count.",)
    )
    return [
        Section(
            key="sounds", title="Sounds: labels, and whose", tables=(sounds, own), sentences=told,
            notes=(
                f"{unnamed} events have no label and belong to no group. Groups are numbered anew in each "
                "night unless known sounds were given: only labels can be followed from night to night.",
            ),
            template="exhibits.html",
        )
    ]  # fmt: skip


def _door_tests(case: KeptCase) -> list[Section]:
    if not case.door_tests:
        told = "No door test was made: how much the door lets through is assumed, not measured."
        return [Section(key="door", title="Door tests", sentences=(told,))]
    return [
        door_section(test, f"door-{number}", f"Door test: {name}")
        for number, (name, test) in enumerate(case.door_tests.items(), start=1)
    ]


def _plan(case: KeptCase) -> list[Section]:
    if not case.plans:
        why = (
            "There is no room file, so nothing can be planned."
            if case.dossier.room is None
            else "No plan was made yet: run 'dossier plan'."
        )
        return [Section(key="plan", title="Plan", sentences=(why,))]
    (name, plan), earlier = list(case.plans.items())[-1], list(case.plans.items())[:-1]
    sections = list(plan_sections(plan, "plan", f"Plan: {name}"))
    stale = _stale(case, plan)
    if stale or earlier:
        rows = tuple((old, plan_verdict(each)) for old, each in earlier)
        heads = (plain_column("Plan"), plain_column("What it came to"))
        sections.append(
            Section(
                key="plan-age", title="How current the plan is",
                sentences=(stale,) if stale else ("It was made from the results that hold now.",),
                tables=(Table(title="Earlier plans", columns=heads, rows=rows),), template="exhibits.html",
            )
        )  # fmt: skip
    return sections


def _stale(case: KeptCase, plan: PlanSummary) -> str:
    """Return a warning if the plan was made from files that have changed since, or not from every night."""
    known = {file.sha256 for path, file in case.dossier.files.items()}
    current = {
        file.sha256
        for path, file in case.dossier.files.items()
        if path.endswith("/assessment.json") or path == "room.toml"
    }
    made_from = {mark.sha256 for mark in plan.made_from.files}
    nights = sum(mark.role == "assessment" for mark in plan.made_from.files)
    if not made_from <= (known & current):
        return "The plan was made from a room file or results that have changed since: plan again."
    if nights < len(case.compared.nights):
        return (
            f"The plan was made from {nights} of {len(case.compared.nights)} assessed nights: plan again, or "
            "hold the others against it."
        )
    return ""


def _cautions(case: KeptCase) -> tuple[str, ...]:
    found = list(words.CASE_CAUTIONS)
    if case.study is not None:
        found += room_caution_points(case.study)
    for plan in case.plans.values():
        found += plan.cautions
    if case.door_tests:
        found += DOOR_CAUTIONS
    return tuple(dict.fromkeys(found))


def _method(case: KeptCase) -> Section:
    versions = ", ".join(f"{name} {version}" for name, version in library_versions().items())
    return Section(
        key="limits", title="Method and limits", points=(*words.CASE_METHOD, *words.CASE_LIMITS),
        notes=(
            GUARD_BAND_TEXT,
            f"Recorder: {case.dossier.about.recorder or 'not said'}.",
            f"Versions that made this page: {versions}.",
        ),
        template="exhibits.html",
    )  # fmt: skip


def _evidence(case: KeptCase) -> Iterator[Section]:
    sketches = {night.name: night.sketch for night in case.nights if night.sketch is not None}
    dossier = case.dossier
    files = {path: (kept.size_bytes, kept.sha256) for path, kept in dossier.files.items()}
    papers = tuple(
        (path.name, kind) for kind in PAPERS for path in dossier.papers(kind)
    )  # fmt: skip
    heads = (plain_column("Paper"), plain_column("Kind"))
    yield Section(
        key="evidence", title="Evidence: recordings, papers, hashes", readers=NUMBERS,
        sentences=(
            f"Seal of the journal (SHA-256): {dossier.entries[-1].sha256}. It stands for every file and "
            f"entry up to {dossier.entries[-1].time_utc}; 'sleepnoise dossier verify' holds all of them "
            "against it.",
        ),
        folded=(
            words.recordings_table(sketches),
            Table(title="Papers that are kept", columns=heads, rows=papers),
            *(plan_sources(plan) for plan in list(case.plans.values())[-1:]),
            *(door_sources(test) for test in case.door_tests.values()),
            words.journal_table(dossier.entries),
            words.files_table(files),
        ),
        template="exhibits.html",
    )  # fmt: skip


def _chosen() -> Section:
    rows = tuple(
        (each.name, shorten(each.value, LONGEST_VALUE, placeholder=" …"), each.reason, each.where)
        for each in chosen_numbers()
    )
    heads = tuple(map(plain_column, ("Name", "Value", "What it is, and why", "Where")))
    return Section(
        key="chosen", title="Numbers that we chose", readers=DEPTH,
        sentences=(
            "No standard fixes these; we chose them, each with a reason. Whoever would choose otherwise can "
            "say so, and see what changes.",
        ),
        folded=(Table(title="Numbers that we chose", columns=heads, rows=rows),), template="exhibits.html",
    )  # fmt: skip
