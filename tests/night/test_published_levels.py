"""Statistics, intervals and events against published relations; sources stand in the table."""

import tomllib
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy.special import ndtri

from sleepnoise.levels.statistics import level_statistics
from sleepnoise.night.events import find_events
from sleepnoise.night.intervals import intervals

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "night_levels.toml").read_text())


@pytest.mark.parametrize("spread_db", [1.0, 2.0, 4.0])
def test_normally_distributed_levels_have_the_published_leq_and_percentiles(from_ticks, spread_db):
    ticks = 8 * 3600 * 4
    levels = 35 + spread_db * ndtri((np.arange(ticks) + 0.5) / ticks)
    history = from_ticks(np.random.default_rng(1).permutation(levels))
    found = level_statistics(history)
    table = PUBLISHED["gaussian"]
    # Half a printed digit of the factors, and half a hundredth for the finite number of levels.
    leq_db = table["leq_over_l50_per_s2"] * spread_db**2
    assert found.laeq - found.la50 == pytest.approx(
        leq_db, abs=table["leq_printed_step"] / 2 * spread_db**2 + 0.005
    )
    l90_db = table["l50_over_l90_per_s"] * spread_db
    assert found.la50 - found.la90 == pytest.approx(
        l90_db, abs=table["percentile_printed_step"] / 2 * spread_db
    )
    spread = table["spread"]["l10_over_l90_per_s"] * spread_db
    assert found.la10 - found.la90 == pytest.approx(
        spread, abs=table["spread"]["printed_step"] / 2 * spread_db
    )


def test_levels_exceeded_follow_the_rank_rule_in_every_interval(from_ticks):
    table = PUBLISHED["ranks"]
    ten = np.arange(table["first_db"], table["last_db"] + 1)
    history = from_ticks(ten[np.random.default_rng(1).permutation(10)])
    (interval,) = intervals(history, history.start, history.end, 15, ZoneInfo("UTC"))
    for name in ("la10", "la90"):
        assert getattr(interval.statistics, name) == pytest.approx(table[name], abs=table["printed_step"] / 2)


@pytest.mark.parametrize("rise_db_per_s", [1.0, 2.0, 4.0])
def test_a_triangular_passage_has_the_published_exposure(sounds, rise_db_per_s):
    table = PUBLISHED["passage"]
    scene = sounds(600, background_db=15).passage(300, 80 / rise_db_per_s, 55, rise_db=40)
    (event,) = find_events(scene.history())
    expected = 55 - 10 * np.log10(rise_db_per_s) + table["triangle_db"]
    # The ends that lie under the background, 40 dB down, hold a ten-thousandth of the energy.
    assert event.lae == pytest.approx(expected, abs=table["printed_step"] / 2)


def test_a_block_of_sound_has_the_published_exposure(sounds):
    (event,) = find_events(sounds(600, background_db=15).steady(300, 20, 55).history())
    assert event.lae == pytest.approx(55 + 10 * np.log10(20), abs=PUBLISHED["passage"]["printed_step"] / 2)


def test_an_event_outlasts_its_sound_by_the_decay_of_f_weighting(sounds):
    table = PUBLISHED["decay"]
    (event,) = find_events(sounds(600, background_db=20).steady(300, 10, 60).history())
    # Sound and background together are 3 dB up where the decaying sound alone equals the background.
    outlasts_s = (60 - 20) / table["f_db_per_s"]
    assert event.duration_s == pytest.approx(10 + outlasts_s, abs=0.125)
