"""Cycling hums: invented compressors over an invented background."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import combine
from sleepnoise.character.hum_cycle import hum_cycle

PER_S = 8
BANDS = NOMINAL_HZ[4:14]
FLOOR_DB = np.linspace(31, 25, len(BANDS))
HOUR_S = 3600


def night(hours=4.0, seed=1, scatter_db=1.0):
    """Band levels of a quiet room, shape (bands, ticks), dB."""
    rng = np.random.default_rng(seed)
    scatter = rng.standard_normal((len(BANDS), round(hours * HOUR_S * PER_S)))
    return FLOOR_DB[:, None] + scatter_db * scatter


def with_hum(bands, on, hum_db=40.0, nominal_hz=100.0):
    place = BANDS.index(nominal_hz)
    mixed = bands.copy()
    hum = np.where(on[: bands.shape[1]], hum_db, -np.inf)
    mixed[place] = combine(np.stack([bands[place], hum]), axis=0)
    return mixed


@pytest.fixture
def heard(as_history):
    return lambda bands, **options: hum_cycle(as_history(bands, nominal_hz=BANDS, **options))


def on_off(seconds, period_s, share, jitter_s=0.0, seed=2):
    rng = np.random.default_rng(seed)
    on = np.zeros(round(seconds * PER_S), dtype=bool)
    begin_s = 100.0
    while begin_s < seconds:
        on[round(begin_s * PER_S) : round((begin_s + share * period_s) * PER_S)] = True
        begin_s += period_s + rng.uniform(-jitter_s, jitter_s)
    return on


@pytest.mark.parametrize(("period_s", "share"), [(240, 0.5), (600, 0.3), (1500, 0.7), (90, 0.4)])
def test_a_compressor_is_found_with_its_period_and_depth(heard, period_s, share):
    bands = with_hum(night(), on_off(4 * HOUR_S, period_s, share))
    found = heard(bands)
    assert (found.verdict, found.nominal_hz) == ("cycles", 100.0)
    assert found.period_s == pytest.approx(period_s, abs=5)
    assert found.on_share == pytest.approx(share, abs=0.05)
    floor_db = FLOOR_DB[BANDS.index(100.0)]
    assert found.depth_db == pytest.approx(combine([40, floor_db]) - floor_db, abs=0.3)
    assert 0 < found.depth_dba < found.depth_db


def test_the_a_weighted_depth_is_what_the_whole_sound_changes_by(as_history):
    bands = with_hum(night(scatter_db=0.0), on_off(4 * HOUR_S, 600, 0.5), hum_db=50.0)
    history = as_history(bands, nominal_hz=BANDS)
    expected = float(history.laeq.max() - history.laeq.min())
    assert hum_cycle(history).depth_dba == pytest.approx(expected, abs=0.01)


def test_an_irregular_thermostat_still_cycles_and_chance_does_not(heard):
    steady = heard(with_hum(night(), on_off(4 * HOUR_S, 600, 0.4, jitter_s=100)))
    assert steady.verdict == "cycles"
    assert steady.period_spread_s > 20
    rng = np.random.default_rng(8)
    on = np.repeat(rng.random(16) < 0.5, 900 * PER_S)
    lengths = np.repeat(np.tile([True, False], 60), rng.exponential(120 * PER_S, 120).astype(int) + 60)
    for random in (on, lengths):
        found = heard(with_hum(night(3.0), np.resize(random, 3 * HOUR_S * PER_S)))
        assert found.verdict == "cannot tell"
        assert found.reason
        assert np.isnan(found.period_s)


def test_a_steady_room_does_not_cycle(heard):
    for bands in (night(), with_hum(night(), np.ones(4 * HOUR_S * PER_S, dtype=bool))):
        found = heard(bands)
        assert (found.verdict, found.reason, found.cycles) == ("steady", "", 0)
        assert np.isnan([found.period_s, found.depth_db, found.nominal_hz]).all()


def test_a_background_that_drifts_by_10_db_does_not_cycle(heard):
    bands = night() + np.linspace(0, 10, 4 * HOUR_S * PER_S)
    assert heard(bands).verdict == "steady"


def test_short_sounds_do_not_make_or_hide_a_cycle(heard):
    rng = np.random.default_rng(3)
    bangs = np.zeros(4 * HOUR_S * PER_S, dtype=bool)
    for first in rng.integers(0, bangs.size - 16, 400):
        bangs[first : first + rng.integers(1, 16)] = True
    bands = night()
    bands[:, bangs] += 25
    assert heard(bands).verdict == "steady"
    found = heard(with_hum(bands, on_off(4 * HOUR_S, 600, 0.5)))
    assert found.verdict == "cycles"
    assert found.period_s == pytest.approx(600, abs=5)


def test_passing_vehicles_in_the_band_of_the_hum_do_not_hide_its_cycle(heard):
    on = on_off(4 * HOUR_S, 1400, 0.4)
    rng = np.random.default_rng(6)
    for first in rng.integers(0, on.size - 60 * PER_S, 60):
        on[first : first + rng.integers(10, 60) * PER_S] = True
    # It also pauses for a moment in each run.
    for begin_s in range(100 + 200, 4 * HOUR_S, 1400):
        on[begin_s * PER_S : (begin_s + 20) * PER_S] = False
    found = heard(with_hum(night(), on))
    assert found.verdict == "cycles"
    assert found.period_s == pytest.approx(1400, abs=60)
    assert found.cycles == 10


def test_series_of_short_sounds_are_no_hum(heard):
    # 20 s of every minute for a quarter of an hour, four times: each series is no run of anything.
    on = np.zeros(4 * HOUR_S * PER_S, dtype=bool)
    for series_s in range(100, 4 * HOUR_S, HOUR_S):
        for begin_s in range(series_s, series_s + 900, 60):
            on[begin_s * PER_S : (begin_s + 20) * PER_S] = True
    assert heard(with_hum(night(), on)).verdict == "cannot tell"


def test_the_band_in_which_more_cycles_were_seen_decides(heard):
    bands = with_hum(night(), on_off(4 * HOUR_S, 600, 0.5), nominal_hz=100.0)
    bands = with_hum(bands, on_off(4 * HOUR_S, 3000, 0.5), hum_db=50.0, nominal_hz=200.0)
    found = heard(bands)
    assert (found.nominal_hz, found.period_s) == (100.0, 600.0)


def test_fewer_than_three_cycles_cannot_tell(heard):
    found = heard(with_hum(night(1.0), on_off(HOUR_S, 1300, 0.5)))
    assert (found.verdict, found.cycles) == ("cannot tell", 2)
    assert "fewer than four times" in found.reason


def test_a_change_that_is_too_small_is_not_called_a_cycle(heard):
    bands = with_hum(night(scatter_db=0.2), on_off(4 * HOUR_S, 600, 0.5), hum_db=28.0)
    assert heard(bands).verdict == "steady"


def test_too_short_a_recording_cannot_tell(heard):
    found = heard(night(0.05))
    assert found.verdict == "cannot tell"
    assert "too little" in found.reason
    assert heard(np.full(len(BANDS), -np.inf), ticks=HOUR_S).verdict == "cannot tell"


def test_what_is_left_out_hides_a_change_and_no_period_is_made_of_it(heard):
    on = on_off(4 * HOUR_S, 600, 0.5)
    bands = with_hum(night(), on)
    left_out = np.zeros(on.size, dtype=bool)
    left_out[650 * PER_S : 2000 * PER_S] = True
    found = heard(bands, left_out=left_out)
    assert found.verdict == "cycles"
    # It goes on 24 times from 100 s on, three times unheard; when it is heard again, it is on already.
    assert found.cycles == 19
    assert (found.period_s, found.period_spread_s) == (600, 0)


def test_loud_sounds_of_all_levels_are_no_second_level(heard):
    rng = np.random.default_rng(4)
    bands = night()
    for first in range(0, bands.shape[1], 300 * PER_S):
        bands[:, first : first + 60 * PER_S] += rng.uniform(5, 30)
    assert heard(bands).verdict == "steady"
