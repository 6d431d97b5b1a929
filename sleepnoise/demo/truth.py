"""The exact answers to a demo night, from the definitions and the waveforms themselves.

Conventions
-----------
An event begins and ends where the F level of the event *alone* first and last reaches the
equivalent level of the background around it: there the two together are 3 dB above the
background. Levels ``alone`` are those of the waveform without any background; its ``lae``
counts all its energy, its ``laeq`` the energy within the span. Levels of the ``mix`` are those
of event and background together within the span.
"""

from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, combine, pressure_level
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.demo.measures import F_S, S_S, a_weighted_pa, detected_pa2, exposure_pa2_s
from sleepnoise.demo.scenario import NOTICE, PLACE, ZONE, HumCycle, Kind, ScheduledSound
from sleepnoise.demo.synthesis import QUIET_LAEQ, Synthesis

PAD_S = 10.0
"""Background before and after an event. Chosen: the S detector has settled to e^-10."""

CONVENTIONS = {
    "span": "An event lasts from where the F level of the event alone first reaches the LAeq of the "
    "background around it to where it last does.",
    "alone": "Levels of the event without any background. LAE counts all its energy, LAeq that of the span.",
    "with_background": "Levels of event and background together within the span.",
    "how": "Exact analogue A-weighting in one Fourier transform, exponential averages of every squared "
    "sample, float64, before rounding to the file's bits. No part of the level engine is used.",
    "background": "Expected values; the background of a single event is measured from 10 s before to "
    "10 s after its waveform.",
}
"""How to read the truth; stands in the file itself."""

_LAEQ = SYMBOLS["laeq"].column


@dataclass(frozen=True, slots=True, kw_only=True)
class EventLevels:
    """Levels of one event, dB re 20 µPa."""

    lafmax: float
    lasmax: float
    lae: float
    laeq: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthEvent:
    """One event as it was made.

    Attributes
    ----------
    number : int
        From 1, in order of time.
    kind : Kind
    start : datetime
        UTC.
    start_s, duration_s : float, s
        From the recording's first sample; see the module for where an event begins and ends.
    alone, mix : EventLevels
        Without and with the background.
    background_laeq : float, dB
        Of the background from 10 s before to 10 s after the waveform.
    """

    number: int
    kind: Kind
    start: datetime
    start_s: float
    duration_s: float
    alone: EventLevels
    mix: EventLevels
    background_laeq: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NightTruth:
    """Everything that is known of a recording because it was made so.

    Attributes
    ----------
    seed, sample_rate_hz : int
    start : datetime
        Instant of the first sample, UTC.
    zone : str
        IANA name.
    seconds : float, s
    events : tuple of TruthEvent
    hum : tuple of HumCycle
        Seconds from the recording's first sample; negative when the condenser ran before.
    quiet_laeq, background_laeq, laeq : float, dB
        Expected values: of the background without hum; of the background with it over the whole
        recording; of everything. A realisation of half an hour or more lies within some 0.02 dB.
    """

    seed: int
    sample_rate_hz: int
    start: datetime
    zone: str
    seconds: float
    events: tuple[TruthEvent, ...]
    hum: tuple[HumCycle, ...]
    quiet_laeq: float
    background_laeq: float
    laeq: float


def night_truth(synthesis: Synthesis) -> NightTruth:
    """Return the exact answers to a night; needs memory for its longest event only."""
    scenario = synthesis.scenario
    events = tuple(
        _truth_event(synthesis, sound, number) for number, sound in enumerate(scenario.sounds, start=1)
    )
    background_laeq = synthesis.background_laeq()
    spread_db = 10.0 * np.log10(scenario.seconds)
    return NightTruth(
        seed=scenario.seed,
        sample_rate_hz=synthesis.sample_rate_hz,
        start=scenario.start,
        zone=ZONE,
        seconds=scenario.seconds,
        events=events,
        hum=tuple(replace(cycle, start_s=cycle.start_s - scenario.first_s) for cycle in scenario.hum),
        quiet_laeq=QUIET_LAEQ,
        background_laeq=background_laeq,
        laeq=float(combine([background_laeq, *(event.alone.lae - spread_db for event in events)])),
    )


def truth_table(truth: NightTruth) -> dict[str, Any]:
    """Return what ``truth.json`` says of the night, heads as in every other file."""
    return {
        "schema": "sleepnoise demo truth",
        "version": 1,
        "notice": NOTICE,
        "place": PLACE,
        "seed": truth.seed,
        "sample_rate_hz": truth.sample_rate_hz,
        "zone": truth.zone,
        "start_utc": truth.start.isoformat(),
        "start_local": truth.start.astimezone(ZoneInfo(truth.zone)).isoformat(),
        "duration_s": truth.seconds,
        "conventions": CONVENTIONS,
        _LAEQ: truth.laeq,
        "background": {
            f"quiet_{_LAEQ}": truth.quiet_laeq,
            _LAEQ: truth.background_laeq,
            "condenser": [_hum_row(cycle) for cycle in truth.hum],
        },
        "events": [_event_row(event) for event in truth.events],
    }


def _truth_event(synthesis: Synthesis, sound: ScheduledSound, number: int) -> TruthEvent:
    rate = synthesis.sample_rate_hz
    pad = synthesis.sample(PAD_S)
    first = synthesis.sample(sound.start_s) - pad
    event_pa = np.pad(synthesis.alone_pa(sound), pad)
    background_pa = synthesis.background_pa(first, first + event_pa.size)
    background_pa2 = float(np.mean(a_weighted_pa(background_pa, rate) ** 2))
    alone_pa = a_weighted_pa(event_pa, rate)
    low, high = _span(detected_pa2(alone_pa, rate, F_S), background_pa2)
    start_s = (first + low - synthesis.first) / rate
    alone = _levels(alone_pa, rate, slice(low, high), slice(None))
    del alone_pa  # a minute at a high rate is large
    mix_pa = a_weighted_pa(event_pa + background_pa, rate)
    return TruthEvent(
        number=number,
        kind=sound.kind,
        start=synthesis.scenario.start + timedelta(seconds=start_s),
        start_s=start_s,
        duration_s=(high - low) / rate,
        alone=alone,
        mix=_levels(mix_pa, rate, slice(low, high), slice(low, high)),
        background_laeq=float(pressure_level(background_pa2)),
    )


def _span(laf_pa2: FloatArray, background_pa2: float) -> tuple[int, int]:
    """Return first and last (not included) sample of an event; see the module's conventions."""
    (above,) = np.nonzero(laf_pa2 >= background_pa2)
    return int(above[0]), int(above[-1]) + 1


def _levels(weighted_pa: FloatArray, sample_rate_hz: int, span: slice, counted: slice) -> EventLevels:
    """Return levels of an event: ``laeq`` within *span*, all others within *counted*."""
    highest_f_pa2, highest_s_pa2 = (
        np.max(detected_pa2(weighted_pa, sample_rate_hz, time_constant_s)[counted])
        for time_constant_s in (F_S, S_S)
    )
    return EventLevels(
        lafmax=float(pressure_level(highest_f_pa2)),
        lasmax=float(pressure_level(highest_s_pa2)),
        lae=float(pressure_level(exposure_pa2_s(weighted_pa[counted], sample_rate_hz))),
        laeq=float(pressure_level(np.mean(weighted_pa[span] ** 2))),
    )


def _event_row(event: TruthEvent) -> dict[str, Any]:
    return {
        "number": event.number,
        "kind": event.kind,
        "start_s": event.start_s,
        "start_utc": event.start.isoformat(),
        "duration_s": event.duration_s,
        "alone": _level_row(event.alone),
        "with_background": _level_row(event.mix),
        f"background_{_LAEQ}": event.background_laeq,
    }


def _level_row(levels: EventLevels) -> dict[str, float]:
    return {SYMBOLS[name].column: value for name, value in asdict(levels).items()}


def _hum_row(cycle: HumCycle) -> dict[str, float]:
    return {"start_s": cycle.start_s, "duration_s": cycle.seconds, _LAEQ: cycle.laeq}
