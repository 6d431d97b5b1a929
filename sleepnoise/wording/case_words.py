"""A bedroom's case in sentences and tables, for its page."""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from sleepnoise.casework.comparing import NightsCompared
from sleepnoise.casework.dossier import Dossier
from sleepnoise.casework.journal import Entry
from sleepnoise.casework.missing import Point
from sleepnoise.comparison.groups import NightGroup
from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.comparison.weekdays import WEEKDAYS
from sleepnoise.dossier.night_sketch import NightSketch
from sleepnoise.wording.rounding import MONTHS, duration_text, level_text
from sleepnoise.wording.tables import Table, column, plain_column

STATES = {"there": "there", "weak": "in part", "missing": "missing"}
"""How a point stands, in words."""

CASE_METHOD = (
    "Every night was assessed by itself; its folder in the dossier has its page, all levels and its own "
    "budget of uncertainty. This page puts kept results together and measures nothing anew.",
    "A value is exceeded or kept only beyond the expanded uncertainty; everything else cannot be told.",
    "Nights that were measured in part are shown, and left out of every mean and comparison.",
    "Nights are compared only with the windows alike and the same hours; recorder, calibration and place "
    "are taken to be the same, so that what they are off by falls out of differences.",
)
"""How the page of a case came about, and how far it goes."""

CASE_LIMITS = (
    "Levels at one microphone differ from those at the pillow, most at low frequencies.",
    "A season, weather, holidays and works nearby change nights too: a difference is not yet the treatment's "
    "doing.",
    "Values for a year, or for outdoors, cannot be judged from nights indoors; they are shown only.",
    "Nothing here is medical or legal advice.",
)
"""What this page cannot tell."""

CASE_CAUTIONS = (
    "Before anything is sealed, hung or replaced: fire doors, escape windows, ventilation, air for "
    "combustion, and smoke and carbon monoxide alarms come first. Local codes and licensed practice decide.",
    "A masker is a last resort, is noise itself, and may hide an alarm or a child. None for infants; stop if "
    "sleep gets worse.",
    "A bedroom recording holds voices: who may be heard has to agree, and the law of the place holds.",
)
"""Said of every case."""


def evening_text(evening: date) -> str:
    """Return an evening for people, such as ``"Tue 10 February 2026"``."""
    return f"{WEEKDAYS[evening.weekday()][:3]} {evening.day} {MONTHS[evening.month - 1]} {evening.year}"


def night_about(windows: str, figures: NightFigures | None, sketch: NightSketch | None) -> str:
    """Return how the windows stood, and what was measured of a night."""
    told = [f"windows {windows}" if windows else "windows not noted"]
    if figures is not None and not figures.whole:
        told.append(f"{100 * figures.measured_share:.0f} % measured")
    if sketch is not None and sketch.faults:
        told.append("faults")
    return ", ".join(told)


def night_levels(figures: NightFigures | None) -> str:
    """Return what one asks for first of a night."""
    if figures is None:
        return "no result"
    events = f"{figures.events} event{'' if figures.events == 1 else 's'}"
    return f"LAeq {level_text(figures.laeq)}, LAFmax {level_text(figures.lafmax)}, {events}"


def night_verdict(figures: NightFigures | None) -> tuple[str, str]:
    """Return the verdict on a night in words, and the class of its colour; the worst verdict counts."""
    if figures is None:
        return "", ""
    words = [word for word in figures.verdicts.values() if word != "shown only"]
    for word in ("exceeded", "cannot tell", "kept"):
        count = words.count(word)
        if count:
            return f"{word}: {count} of {len(words)} values", word.replace(" ", "-")
    return "no value to judge by", ""


def case_sentences(dossier: Dossier, points: Sequence[Point], compared: NightsCompared) -> tuple[str, ...]:
    """Return what the case is and how it stands, in sentences."""
    lacking = [point for point in points if point.state != "there"]
    nights = f"{len(dossier.nights)} night{'' if len(dossier.nights) == 1 else 's'}"
    judged = [word for night in compared.nights if (word := night_verdict(night)[1])]
    exceeded, kept = judged.count("exceeded"), judged.count("kept")
    return (
        f"{nights}, {len(compared.nights)} of them assessed as things stand; {len(dossier.door_tests)} door "
        f"test{'' if len(dossier.door_tests) == 1 else 's'}; {len(dossier.papers('plan'))} plan"
        f"{'' if len(dossier.papers('plan')) == 1 else 's'}.",
        *(
            (
                f"A published value is exceeded beyond the uncertainty in {exceeded} of {len(judged)} "
                f"nights, all that are judged are kept in {kept}; of the others one cannot tell.",
            )
            if judged
            else ("No night can be judged yet.",)
        ),
        "Nothing is missing for a sound judgement."
        if not lacking
        else f"For a sound judgement {len(lacking)} of {len(points)} things are missing or there in part: "
        f"{'; '.join(point.what.lower() for point in lacking)}.",
    )


def points_table(points: Iterable[Point]) -> Table:
    """Return what a judgement rests on, one a row, with what to do."""
    columns = tuple(map(plain_column, ("For a sound judgement", "Stands", "Found", "What to do")))
    rows = tuple((point.what, STATES[point.state], point.found, point.remedy or "–") for point in points)
    return Table(title="What is there, and what is missing", columns=columns, rows=rows)


def verdict_table_of(groups: Iterable[NightGroup]) -> Table:
    """Return on how many whole nights each value that was judged was exceeded, by how the windows stood."""
    heads = ("Exceeded", "Kept", "Cannot tell", "Not judged")
    columns = (
        plain_column("Published value"), plain_column("Windows"),
        *(plain_column(head, number=True) for head in heads),
        plain_column("Share of nights (95 %)", number=True),
    )  # fmt: skip
    rows = tuple(
        (
            each.criterion,
            group.window_state or "not noted",
            *(str(count) for count in (each.exceeded, each.kept, each.cannot_tell, each.not_judged)),
            "–" if math.isnan(each.low) else f"{100 * each.low:.0f} to {100 * each.high:.0f} %",
        )
        for group in groups
        for each in group.exceedances
        if each.exceeded or each.kept or each.cannot_tell
    )
    return Table(title="Whole nights on which published values were exceeded", columns=columns, rows=rows)


def sounds_table(sketches: Mapping[str, NightSketch]) -> Table:
    """Return what was heard over all nights, by label or group, the most frequent first."""
    found: dict[str, list[tuple[str, int, float, bool]]] = {}
    for night, sketch in sketches.items():
        for sound in sketch.sounds:
            found.setdefault(sound.name, []).append((night, sound.events, sound.lafmax, sound.own))
    columns = (
        plain_column("Label or group"), plain_column("Nights", number=True),
        plain_column("Events", number=True), column("lafmax"), plain_column("Whose"),
    )  # fmt: skip
    rows = [
        (
            name,
            str(len(heard)),
            str(sum(events for _, events, *_ in heard)),
            level_text(max(level for *_, level, _ in heard)),
            "own" if any(own for *_, own in heard) else "not said to be own",
        )
        for name, heard in sorted(found.items(), key=lambda each: (-sum(n for _, n, *_ in each[1]), each[0]))
    ]
    return Table(title="What was heard, over all nights", columns=columns, rows=tuple(rows))


def own_table_of(sketches: Mapping[str, NightSketch]) -> Table:
    """Return LAeq with and without own sounds, for the nights in which somebody said which those are."""
    columns = (
        plain_column("Night"), column("laeq"), plain_column("Without own sounds", number=True),
        plain_column("Own sounds last", number=True),
    )  # fmt: skip
    rows = tuple(
        (night, level_text(each.laeq), level_text(each.laeq_without_own), duration_text(each.own_s))
        for night, each in sketches.items()
        if not math.isnan(each.laeq_without_own)
    )
    return Table(title="With and without the sleeper's and the room's own sounds", columns=columns, rows=rows)


def journal_table(entries: Iterable[Entry]) -> Table:
    """Return what was done to the dossier, one entry a row."""
    columns = (plain_column("Entry", number=True), *map(plain_column, ("Time, UTC", "Done", "About")))
    rows = tuple((str(each.number), each.time_utc, each.did, each.about) for each in entries)
    return Table(title="Journal", columns=columns, rows=rows)


def files_table(files: Mapping[str, tuple[int, str]]) -> Table:
    """Return files by path within the dossier, with size and SHA-256."""
    columns = (
        plain_column("File of the dossier"), plain_column("Bytes", number=True), plain_column("SHA-256"),
    )  # fmt: skip
    rows = tuple((path, str(size), sha256) for path, (size, sha256) in sorted(files.items()))
    return Table(title="Every file of the dossier", columns=columns, rows=rows)


def recordings_table(nights: Mapping[str, NightSketch]) -> Table:
    """Return the recordings of each night, their calibration and uncertainty."""
    columns = (
        *map(plain_column, ("Night", "Recording", "Calibration")), plain_column("U, dB", number=True),
        plain_column("Faults"), plain_column("SHA-256"),
    )  # fmt: skip
    rows = tuple(
        (
            night, name, each.calibration, level_text(each.expanded_uncertainty_db),
            ", ".join(each.faults) or "none found", sha256,
        )
        for night, each in nights.items()
        for name, sha256 in each.files
    )  # fmt: skip
    return Table(title="Recordings", columns=columns, rows=rows)
