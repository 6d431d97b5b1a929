"""LAFmax and LAeq behind a loss, held against the same sound really filtered; every sound is synthesised."""

from dataclasses import replace

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.demo.scenario import Scenario, ScheduledSound
from sleepnoise.demo.synthesis import Synthesis
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.levels.engine import level_history
from sleepnoise.night.events import find_events
from sleepnoise.planning.planned_events import UNKNOWN, planned_events
from sleepnoise.planning.problem import A_WEIGHTS
from sleepnoise.proving.filtering import filtered

RATE = 16_000
OCTAVE = np.log2(np.array(MODEL_BANDS_HZ) / 500.0)
LOSSES_DB = {
    "solid leaf": np.clip(8.0 + 3.0 * OCTAVE, 1.0, 20.0),
    "mass law": np.clip(8.0 + 6.0 * OCTAVE, 0.0, 40.0),
    "curtain": np.clip(4.0 + 3.0 * OCTAVE, 0.0, 14.0),
    "treble only": np.where(OCTAVE > 0.0, 25.0, 0.0),
}
KINDS = [("stairwell door", 2.5)] * 5 + [("footsteps above", 6.0), ("tram", 16.0)]


@pytest.fixture(scope="module")
def heard():
    """Return a minute and a half of quiet with slams, steps and a tram: its sound, history and events."""
    rng, sounds, start_s = np.random.default_rng(3), [], 45.0
    for number, (kind, seconds) in enumerate(KINDS):
        at_s = round(start_s + rng.uniform(0.0, 1.0), 3)
        sounds.append(
            ScheduledSound(number=number, kind=kind, start_s=at_s, seconds=seconds, lafmax=55.0 + number)
        )
        start_s += seconds + 11.0
    scenario = Scenario(seed=3, first_s=0.0, seconds=start_s + 1.0, sounds=tuple(sounds), hum=())
    blocks = list(Synthesis(scenario, RATE).blocks())
    history = level_history(blocks)
    return blocks, history, find_events(history)


class Night:
    """What a plan reads of a night."""

    def __init__(self, events):
        self.events = events


def computed_db(events, loss_db):
    """Return LAFmax and LAE of every event behind a loss that background and event share."""
    plan = planned_events([Night(events)], [UNKNOWN], {})
    left = energy(-loss_db)
    beside = energy(plan.background_db) @ (A_WEIGHTS * left)
    seconds = np.array([event.duration_s for event in events])
    maxima = energy(plan.max_dba) * plan.kept_of_maxima(left[None]) + beside
    return level(maxima), level(
        energy(plan.exposure_dba) * plan.kept_of_exposures(left[None]) + beside * seconds
    )


@pytest.mark.parametrize("loss", LOSSES_DB)
def test_levels_behind_a_loss_are_those_of_the_filtered_sound(heard, loss):
    blocks, _, events = heard
    assert len(events) == len(KINDS)
    behind = level_history(filtered(blocks, lambda when: np.tile(LOSSES_DB[loss], (when.size, 1))))
    maxima_db, exposures_db = computed_db(events, LOSSES_DB[loss])
    own = [slice(event.first_tick, event.last_tick) for event in events]
    off_db = maxima_db - [behind.lafmax[each].max() for each in own]
    assert off_db.min() > -0.6
    assert off_db.max() < 0.6
    assert abs(off_db.mean()) < 0.25
    measured = [float(level(energy(behind.laeq[each]).sum() / 8.0)) for each in own]
    assert exposures_db == pytest.approx(measured, abs=0.4)


def test_band_maxima_alone_would_come_out_too_low_for_slams_and_say_so(heard):
    _, _, events = heard
    old = [replace(event, loudest_moments=()) for event in events]
    with_moments, _ = computed_db(events, LOSSES_DB["mass law"])
    without, _ = computed_db(old, LOSSES_DB["mass law"])
    assert (without - with_moments).min() < -0.6
    spread = [planned_events([Night(each)], [UNKNOWN], {}).max_u_db for each in (old, events)]
    assert (spread[0] > 3.0 * spread[1]).all()


def test_without_any_loss_every_level_is_that_of_the_night(heard):
    _, _, events = heard
    maxima_db, exposures_db = computed_db(events, np.zeros(len(MODEL_BANDS_HZ)))
    assert maxima_db == pytest.approx([event.lafmax for event in events], abs=1e-6)
    assert exposures_db == pytest.approx([event.lae for event in events], abs=1e-6)


def test_the_loudest_moments_hold_the_one_of_lafmax_and_are_few(heard):
    _, _, events = heard
    for event in events:
        levels = [moment.weighted_level() for moment in event.loudest_moments]
        assert max(levels) == pytest.approx(event.lafmax, abs=0.01)
        assert len(levels) <= 12


def test_an_event_without_known_bands_counts_as_if_it_were_the_deepest(heard):
    unknown = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=np.full(len(MODEL_BANDS_HZ), np.nan))
    names = ("max_spectrum", "background_spectrum", "spectrum_at_max", "equivalent_spectrum")
    event = replace(heard[2][0], **dict.fromkeys(names, unknown), loudest_moments=())
    plan = planned_events([Night([event])], [UNKNOWN], {})
    left = energy(-LOSSES_DB["mass law"])
    assert plan.kept_of_maxima(left[None]) == pytest.approx(left[0])
    assert plan.kept_of_exposures(left[None]) == pytest.approx(left[0])
