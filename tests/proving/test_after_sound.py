"""What each moment of a night loses, and the masker as sound."""

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import energy
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, on_model_bands
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.proving.after_sound import CLEAR_TIMES, NightLosses, PlayedMasker, losses_within


def test_background_within_an_event_loses_what_the_background_does(demo_record, curtain_and_masker):
    """Band by band: nothing but background loses as such; what stands clear leaves the sum of both parts."""
    promise, event = curtain_and_masker, demo_record.assessment.events[3]
    heard, loss_db = losses_within(demo_record.history, event, promise, "hall")
    background = np.broadcast_to(
        np.nan_to_num(energy(on_model_bands(event.background_spectrum))), heard.shape
    )
    clear = heard > CLEAR_TIMES * background
    of_side = np.broadcast_to(energy(-promise.loss_db[promise.sides.index("hall")]), heard.shape)
    of_background = np.broadcast_to(energy(-promise.background_loss_db), heard.shape)
    assert clear.any()
    assert not clear.all()
    assert energy(-loss_db[~clear]) == pytest.approx(of_background[~clear])
    left = (heard - background) * of_side + background * of_background
    assert (heard * energy(-loss_db))[clear] == pytest.approx(left[clear])


def test_outside_of_events_the_background_is_all_there_is(demo_record, curtain):
    losses = NightLosses(demo_record.history, [], curtain).from_instant(demo_record.history.start)
    assert losses(np.array([0.0, 60.0, 1e9])) == pytest.approx(
        np.tile(curtain.background_loss_db, (3, 1)), abs=1e-4
    )


@pytest.mark.parametrize("rate", [24_000, 48_000])
def test_a_masker_is_played_as_far_as_the_sampling_rate_carries_it(rate):
    played = PlayedMasker(masker_shapes()[0].at(35.0), rate)
    sounding = np.array(MODEL_BANDS_HZ)[np.isfinite(played.spectrum.levels_db)]
    assert sounding.max() < rate / 2
    assert played.spectrum.weighted_level() == pytest.approx(35.0, abs=0.05)
    assert played.period_pa.size == 60 * rate
