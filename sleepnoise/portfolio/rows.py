"""What the tables of a portfolio say of one night: a line for it, and lines for its events and verdicts."""

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.assessing.record import NightRecord
from sleepnoise.evidence.plain import plain_value, utc_text
from sleepnoise.judgement.guidelines import Verdict
from sleepnoise.night.events import Event
from sleepnoise.portfolio.ledger import Row

LEVELS = ("laeq", "lafmax", "la10", "la50", "la90", "lceq")
"""Levels of a night that its line holds."""


def rows_of(record: NightRecord) -> dict[str, list[Row]]:
    """Return the lines of each table, numbers unrounded."""
    rows = {
        "nights": [_night(record)],
        "events": [_event(event) for event in record.assessment.events],
        "verdicts": [_verdict(verdict) for verdict in record.assessment.verdicts],
    }
    plain = plain_value(rows)
    assert isinstance(plain, dict)
    return plain


def _night(record: NightRecord) -> dict[str, object]:
    night = record.assessment
    statistics = night.statistics
    return {
        "start_utc": utc_text(night.start),
        "end_utc": utc_text(night.end),
        "zone": night.window.zone.key,
        "window_s": night.window_s,
        "recorded_s": statistics.seconds,
        "left_out_s": statistics.left_out_s,
        "absolute": night.absolute,
        "uncertainty_dB": night.expanded_uncertainty_db,
        **{SYMBOLS[name].column: getattr(statistics, name) for name in LEVELS},
        "events": len(night.events),
        "event_time_s": night.event_time_s,
    }


def _event(event: Event) -> dict[str, object]:
    return {
        "event": event.number,
        "start_utc": utc_text(event.start),
        "duration_s": event.duration_s,
        "LAFmax_dB": event.lafmax,
        "LAE_dB": event.lae,
        "background_LA90_dB": event.background_la90,
        "group": event.group,
        "label": event.label,
    }


def _verdict(verdict: Verdict) -> dict[str, object]:
    criterion = verdict.criterion
    return {
        "criterion": criterion.id,
        "guideline": criterion.guideline,
        "title": criterion.title,
        "word": verdict.word,
        "verified": criterion.source.verified,
        "measured_dB": verdict.measured_db,
        "margin_dB": verdict.margin_db,
        "uncertainty_dB": verdict.uncertainty_db,
        "count": verdict.count,
    }
