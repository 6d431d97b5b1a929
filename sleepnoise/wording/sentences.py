"""What a night comes to, in a few plain sentences: the same on the page and in the terminal."""

import math
from dataclasses import fields

from sleepnoise.assessing.record import AssessSettings, NightRecord
from sleepnoise.night.quality import at_most
from sleepnoise.planning.first_plan import MaskerChoice
from sleepnoise.wording.masking_words import shape_text
from sleepnoise.wording.rounding import clock_text, date_text, duration_text, level_text, unit_text
from sleepnoise.wording.tables import loudest_events
from sleepnoise.wording.verdicts import verdict_counts

NUMBERS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
"""Small numbers as words."""

NO_PLAN = (
    "What is audible behind a measure or in a masking sound cannot be told either, because that takes true "
    "levels; what each measure takes off a sound can."
)
"""Said instead of a plan for a night without calibration."""

FULL_SCALE = (
    "Full scale is the loudest that the file can hold, and counts as 0 dB: every level lies below it. Times, "
    "and how far one sound stands above another, hold without a calibration; how loud it was does not."
)
"""Said of levels relative to full scale, once before the others. Common practice, no source."""

OWN_NOISE_NEAR = " The recorder's own noise is so near that LA90 is at most this."
"""Said behind a background that the recorder may have made."""


def in_short(record: NightRecord) -> tuple[str, ...]:
    """Return the night in a few sentences."""
    scale = () if record.assessment.absolute else (FULL_SCALE,)
    return (_levels(record), *scale, _events(record), _verdicts(record), _plan(record))


def _levels(record: NightRecord) -> str:
    night = record.assessment
    statistics, unit = night.statistics, unit_text(night)
    zone = night.window.zone
    recorded_s = statistics.seconds - statistics.left_out_s
    span = f"From {clock_text(night.start, zone)} to {clock_text(night.end, zone)} local time"
    if recorded_s < 0.999 * night.window_s:
        span += f", {duration_text(recorded_s)} of a night of {duration_text(night.window_s)},"
    return (
        f"{span} the equivalent level was LAeq {level_text(statistics.laeq)} {unit}; "
        f"for 90 % of the time it was louder than LA90 {level_text(statistics.la90)} {unit}."
        f"{OWN_NOISE_NEAR if _own_noise_is_near(record) else ''}"
    )


def _own_noise_is_near(record: NightRecord) -> bool:
    own_noise, night = record.settings.own_noise_la_db, record.assessment
    return own_noise is not None and night.absolute and at_most(night.statistics.la90, own_noise)


def _events(record: NightRecord) -> str:
    night = record.assessment
    if not night.events:
        return "No sound stood out from the background."
    loudest = loudest_events(night.events, 1)[0]
    count = len(night.events)
    return (
        f"{_counted(count, 'sound').capitalize()} stood out from the background, for "
        f"{duration_text(night.event_time_s)} together; the loudest reached LAFmax "
        f"{level_text(loudest.lafmax)} {unit_text(night)} at {clock_text(loudest.start, night.window.zone)}, "
        f"{level_text(loudest.emergence_db, 0)} dB above the background."
    )


def _verdicts(record: NightRecord) -> str:
    if not record.assessment.absolute:
        return "No published value can be judged: without a calibration nobody knows how loud it was."
    counts = verdict_counts(record.assessment.verdicts)
    judged = counts["exceeded"] + counts["kept"] + counts["cannot tell"]
    if not judged:
        return "No guideline value was judged."
    exceeded, kept, open_ = (_number(counts[word]) for word in ("exceeded", "kept", "cannot tell"))
    values = _counted(judged, "published value")
    return (
        f"Of {values} for the night, {exceeded} {_is(counts['exceeded'])} exceeded and {kept} kept; "
        f"of {open_} the measurement cannot tell."
    )


def _plan(record: NightRecord) -> str:
    plan = record.plan
    if not plan.events:
        return "There is nothing to isolate or to mask."
    if not record.assessment.absolute:
        # Levels re full scale are far below the threshold of hearing: everything would come out inaudible.
        return NO_PLAN
    start = f"As the room is, {plan.audible_now} of {plan.events} events lie above the audibility margin."
    reached = [choice for choice in plan.best if choice.reachable]
    if not reached:
        fewest = min(plan.best, key=lambda choice: choice.audible_events)
        return (
            f"{start} No isolation step with a masker up to {plan.settings.cap_dba:g} dB(A) reaches the "
            f"target; closest comes {_words(fewest)}, which leaves {fewest.audible_events}."
        )
    quietest = min(reached, key=lambda choice: choice.level_dba)
    return f"{start} The target is reached most quietly with {_words(quietest)}."


def _words(choice: MaskerChoice) -> str:
    step = f"“{choice.step.title}”"
    if math.isinf(choice.level_dba):
        return f"{step} and no masker"
    return f"{step} and a masker of {level_text(choice.level_dba, 0)} dB(A), {shape_text(choice.shape)}"


def _counted(count: int, noun: str) -> str:
    return f"{_number(count)} {noun}{'' if count == 1 else 's'}"


def _number(count: int) -> str:
    return NUMBERS[count] if count < len(NUMBERS) else str(count)


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def settings_lines(record: NightRecord) -> tuple[tuple[str, str], ...]:
    """Return every setting of events and plan with its value."""
    lines = []
    for thing in (record.settings.events, record.settings.plan):
        for field in fields(thing):
            lines.append((spelled(field.name), f"{getattr(thing, field.name):g}"))
    return tuple(lines)


UNITS = {"_db": "dB", "_dba": "dB(A)", "_s": "s", "_minutes": "min"}
"""Endings of names in code, and what people write instead."""


def spelled(name: str) -> str:
    """Return a setting's name in words, with its unit.

    Examples
    --------
    >>> spelled("merge_gap_s")
    'merge gap, s'
    """
    for ending, unit in UNITS.items():
        if name.endswith(ending):
            return f"{name.removesuffix(ending).replace('_', ' ')}, {unit}"
    return name.replace("_", " ")


def decisions(record: NightRecord) -> tuple[tuple[str, str, str, str], ...]:
    """Return what was decided: subject, value, where it came from, which option decides otherwise."""
    start, settings = record.start, record.settings
    zone = record.assessment.window.zone
    channel = f"{settings.channel} of {record.sound.channels}"
    guidelines = ", ".join(record.guidelines)
    return (
        ("Start", date_text(start.utc, zone), start.origin, "--start"),
        ("Zone", start.zone, start.zone_origin, "--zone"),
        ("Calibration", _calibration_text(record), record.calibration.origin, "--tone, --calibration"),
        ("Channel", channel, _origin("channel", settings), "--channel"),
        ("Night", record.assessment.window.text, _origin("window", settings), "--window"),
        ("Guidelines", guidelines, _origin("guidelines", settings), "--guideline"),
    )


def files_text(record: NightRecord) -> str:
    """Return the names of the recording's files: the one, or how many from first to last."""
    first, parts = record.provenance.inputs[0].name, len(record.sound.parts)
    return first if parts == 1 else f"{parts} files, {first} to {record.provenance.inputs[parts - 1].name}"


def recording_text(record: NightRecord) -> str:
    """Return what the recording is: its files, format and length."""
    sound = record.sound
    first = sound.parts[0].audio
    files = files_text(record)
    channels = f"{sound.channels} channel{'' if sound.channels == 1 else 's'}"
    form = f"{first.container} {first.encoding}, {sound.sample_rate_hz} Hz, {channels}"
    return f"{files}: {form}, {duration_text(sound.seconds)}"


def fault_text(record: NightRecord) -> str:
    """Return how many faults of the recording were found and what they cost; empty if none."""
    if not record.quality:
        return ""
    kinds = ", ".join(dict.fromkeys(flag.kind for flag in record.quality))
    left_out = duration_text(record.assessment.statistics.left_out_s)
    count = _counted(len(record.quality), "fault")
    return f"The recording has {count} ({kinds}); {left_out} of the night is left out of every figure."


def _origin(name: str, settings: AssessSettings) -> str:
    return "default" if getattr(settings, name) == getattr(AssessSettings(), name) else "your option"


def _calibration_text(record: NightRecord) -> str:
    calibration = record.calibration
    if not calibration.absolute:
        return "none"
    uncertainty = calibration.expanded_uncertainty_db
    return f"{calibration.pascal_per_full_scale:.4g} Pa at full scale, ±{uncertainty:.1f} dB (k = 2)"
