"""Invented nights of steady levels, and criteria to judge them by, for the tests of conditions."""

from dataclasses import replace
from datetime import UTC, datetime, time
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.source import Source
from sleepnoise.judgement.circumstances import NOTHING_SAID
from sleepnoise.judgement.criteria import Criterion
from sleepnoise.judgement.guidelines import judge
from sleepnoise.levels.history import LevelHistory
from sleepnoise.night.window import NightWindow

VIENNA = ZoneInfo("Europe/Vienna")
TEN_PM = datetime(2025, 1, 10, 21, 0, tzinfo=UTC)  # 22:00 in Vienna
SEEN = Source(document="An invented document", place="its only page", how_known="looked-up")


def recording(level_db, *, hours=9.0, start=TEN_PM, loud=(), bands_db=0.0):
    """Return a history of one level, but for *loud*: hours after the start from, to, and level."""
    laeq = np.full(round(hours * 28_800), level_db, dtype=np.float32)
    for from_h, to_h, loud_db in loud:
        laeq[round(from_h * 28_800) : round(to_h * 28_800)] = loud_db
    names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak")
    return LevelHistory(
        start=start,
        sample_rate_hz=48_000.0,
        nominal_hz=NOMINAL_HZ,
        bands=laeq + np.broadcast_to(np.asarray(bands_db), (len(NOMINAL_HZ),))[:, np.newaxis],
        left_out=np.zeros(laeq.size, dtype=bool),
        **{name: laeq.copy() for name in names},
    )


def criterion(**keys):
    plain = {
        "guideline": "Invented", "jurisdiction": "nowhere", "id": "invented", "title": "Invented value",
        "quantity": "laeq", "rule": "not exceeded", "over": "period", "where": "inside", "applies_to": "all",
        "note": "", "period": ("22:00", "07:00"), "level_db": 30.0, "bands_db": {}, "count_allowed": None,
        "single_night_ok": True, "source": SEEN,
    }  # fmt: skip
    return Criterion(**(plain | keys))


def judged(criterion, history, said=NOTHING_SAID, *, u_db=1.0, zone=VIENNA):
    window = NightWindow(start=time(22), end=time(7), zone=zone)
    [found] = judge(
        [criterion], history, (), window, absolute=True, expanded_uncertainty_db=u_db, circumstances=said
    )
    return found


def without(history, **rows):
    return replace(history, **rows)


@pytest.fixture(scope="session")
def nights():
    """Return the builders of this module."""
    return SimpleNamespace(
        recording=recording, criterion=criterion, judged=judged, start=TEN_PM, zone=VIENNA, without=without
    )
