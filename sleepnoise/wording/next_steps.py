"""What follows from a night for those who live with it and those who own the building, in plain words."""

from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.assessing.record import NightRecord
from sleepnoise.isolation.steps import IsolationStep
from sleepnoise.night.events import Event
from sleepnoise.wording.rounding import DOUBTS, duration_text, level_text
from sleepnoise.wording.tables import Table, loudest_events, plain_column

DIARY_NIGHTS = 7
"""Nights on a diary sheet. Chosen: a week holds working days and a weekend."""

WHOLE_SHARE = 0.95
"""Share of the window recorded from which nobody is asked for a whole night. Chosen: as for the caution."""

EMPTY = "\u00a0"
"""A cell to be written in: a space that does not break keeps it open."""

MEASURES_SHOWN = 8
"""Measures in the owner's table. Chosen: those that help most fill half a page."""


def resident_steps(record: NightRecord) -> tuple[str, ...]:
    """Return what somebody who sleeps there can do next, in order."""
    night = record.assessment
    steps = []
    if not night.absolute:
        steps.append(
            "This recording has no true levels. For those lay a sound level meter beside the same recorder "
            "or phone and read both at five levels (sleepnoise guide calibrate), or ask somebody with a "
            "calibrated recorder. Until then go by times and by what stood out."
        )
    if night.statistics.seconds < WHOLE_SHARE * night.window_s:
        steps.append(
            f"Record a whole night: of {duration_text(night.window_s)} only "
            f"{duration_text(night.statistics.seconds)} were recorded."
        )
    if night.events:
        steps.append(
            "Go through the loudest sounds below and write down what each one is. You know the house better "
            "than any program; their clock times help."
        )
    steps += [
        "Keep the diary below for a week: when you woke, what you heard, whether window and door were open. "
        "A recording shows what could be heard, not what woke you.",
        "Find out how the sound gets in before you spend money: a door test with a steady noise takes ten "
        "minutes and shows what a seal or a curtain can bring.",
    ]
    measures = single_measures(record)
    if measures:
        best = measures[0]
        steps.append(
            f"Keep sound out first. Of the single measures weighed here “{best.step.title}” takes most off "
            f"the loudest sounds, about {level_text(best.taken_off_dba, 0)} dB(A). It is a typical value, "
            "and helps only if the sound takes that way."
        )
    return (
        *steps,
        "Before you seal, hang or replace anything: fire doors, escape windows, fresh air, air for anything "
        "that burns fuel, and smoke alarms that you still hear. Ask the owner and, where safety is at stake, "
        "a licensed professional.",
        "Use a steady masking sound only for what is left, as quiet as possible, and none for an infant.",
        "If you sleep badly for weeks, or are tired by day, talk to a doctor whatever the levels are.",
    )  # fmt: skip


def diary() -> Table:
    """Return an empty sheet for a week of nights."""
    heads = ("Night of", "To bed, up", "Woke at", "What I heard", "Window, door", "How I slept, 1 to 5")
    columns = tuple(plain_column(head) for head in heads)
    rows = tuple((f"{number}.", *(EMPTY for _ in heads[1:])) for number in range(1, DIARY_NIGHTS + 1))
    return Table(title="Sleep and noise diary", columns=columns, rows=rows)


def owner_findings(record: NightRecord) -> tuple[str, ...]:
    """Return what was found and how far it goes, for the owner of the building."""
    night = record.assessment
    exceeded = [verdict.criterion for verdict in night.verdicts if verdict.word == "exceeded"]
    found = "No published value was exceeded beyond doubt."
    if exceeded:
        names = dict.fromkeys(criterion.guideline for criterion in exceeded)
        found = (
            f"Beyond the uncertainty of the measurement, this night exceeded {len(exceeded)} published "
            f"value{'' if len(exceeded) == 1 else 's'}: {'; '.join(names)}."
        )
    sure = "Levels are not calibrated, so nothing here compares with a published value."
    if night.absolute:
        sure = (
            f"Levels are known to ±{level_text(night.expanded_uncertainty_db)} dB (k = 2); what lies closer "
            "to a value is called “cannot tell”."
        )  # fmt: skip
    recorded_s = night.statistics.seconds - night.statistics.left_out_s
    return (
        found,
        sure,
        f"This is one night, {duration_text(recorded_s)} of it usable, at one place in one room. It says how "
        "loud it was there, not who caused it, and not that other nights are alike.",
        "Whether a published value binds anybody is decided by the law of the place, the kind of source and "
        "the contract, not by this page.",
    )  # fmt: skip


def owner_duties() -> tuple[str, ...]:
    """Return what has to be settled between owner and resident, and what is not to be touched."""
    return (
        "Who has to act, and who pays, depends on lease, building rules and local law. Agree on it in "
        "writing before work begins.",
        "Costs: this page holds no prices, since they differ by place and building. Ask for two quotations "
        "on the same description of work.",
        "Fire doors and their seals, escape windows, ventilation, air for fuel-burning appliances, and "
        "alarms may only be changed as local codes allow, by those who are licensed for it.",
        "Measure again after each step, with the same place, gain and window, and keep both records: only "
        "that shows what it brought.",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SingleMeasure:
    """What one measure does by itself, without any masking sound.

    Attributes
    ----------
    step : IsolationStep
    taken_off_dba : float, dB(A)
        What it takes off the loudest events, on average.
    audible : int
        Events that stay audible.
    """

    step: IsolationStep
    taken_off_dba: float
    audible: int


def owner_options(record: NightRecord) -> Table:
    """Return the single measures that take most off the loudest sounds."""
    heads = (
        plain_column("Measure"), plain_column("Takes off, dB(A)", number=True),
        plain_column("Sounds still audible", number=True),
        plain_column("Published values differ by, dB", number=True), plain_column("Known from"),
    )  # fmt: skip
    rows = [
        (
            each.step.title,
            level_text(each.taken_off_dba, 0),
            # Levels re full scale all lie below the threshold of hearing.
            f"{each.audible} of {record.plan.events}" if record.assessment.absolute else "not known",
            f"{each.step.spread_db:g}",
            _known_from(each.step),
        )
        for each in single_measures(record)[:MEASURES_SHOWN]
    ]
    title = "Single measures, typical values for the loudest sounds of this night, without any masking sound"
    return Table(title=title, columns=heads, rows=tuple(rows))


def single_measures(record: NightRecord) -> list[SingleMeasure]:
    """Return the measures of the plan by what they take off this night's loudest events, most first.

    Losses that are even over all bands are assumptions, no measures.
    """
    loudest = loudest_events(record.assessment.events)
    left = {choice.step.key: (choice.step, choice.audible_by_level[0]) for choice in record.plan.choices}
    measures = [
        SingleMeasure(step=step, taken_off_dba=_taken_off_dba(step, loudest), audible=audible)
        for key, (step, audible) in left.items()
        if loudest and key != "as-it-is" and not key.startswith("even-")
    ]
    return sorted(measures, key=lambda measure: (-measure.taken_off_dba, measure.step.title))


def _taken_off_dba(step: IsolationStep, events: tuple[Event, ...]) -> float:
    """Return the mean drop of the A-weighted level of events' highest spectra behind a step."""
    drops = []
    for event in events:
        # What is not known is taken for silence, before and after.
        levels_db = np.where(np.isnan(event.max_spectrum.levels_db), -np.inf, event.max_spectrum.levels_db)
        heard = Spectrum(nominal_hz=event.max_spectrum.nominal_hz, levels_db=levels_db)
        behind = heard.attenuated(step.loss.on_bands(heard.nominal_hz).levels_db)
        drops.append(heard.weighted_level() - behind.weighted_level())
    return float(np.mean(drops))


def _known_from(step: IsolationStep) -> str:
    doubt = DOUBTS.get(step.source.how_known)
    return f"{step.source.document}, {step.source.place}{f' ({doubt})' if doubt else ''}"
