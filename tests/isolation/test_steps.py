"""Isolation steps: even ones, and profiles spread over all third octaves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.errors import SettingsError
from sleepnoise.isolation.steps import even_step, step_from_profile
from sleepnoise.profiles.schema import TreatmentProfile

OCTAVES = ("63", "125", "250", "500", "1000", "2000", "4000", "8000")


def profile(losses_db):
    """Return a treatment profile that no file holds."""
    return TreatmentProfile.model_validate(
        {
            "kind": "treatment",
            "title": "Test",
            "summary": "Test",
            "acts_on": "a door",
            "insertion_loss_db": losses_db,
            "spread_db": 2.0,
            "basis": "None",
            "source": "s",
            "sources": {"s": {"document": "None", "place": "none", "how_known": "assumption"}},
            "cautions": ["Mind the step."],
        }
    )


def test_an_even_step_takes_the_same_off_every_band():
    step = even_step(10)
    assert step.loss.nominal_hz == NOMINAL_HZ
    assert (step.loss.levels_db == 10.0).all()
    assert step.source.how_known == "assumption"


def test_no_loss_is_the_room_as_it_is():
    assert even_step(0).title == "as it is"
    assert (even_step(0).loss.levels_db == 0.0).all()
    assert even_step(0).cautions == ()


@pytest.mark.parametrize("loss_db", [-1.0, 60.5, np.nan, np.inf])
def test_even_steps_that_no_measure_brings_are_refused(loss_db):
    with pytest.raises(SettingsError, match="must lie between 0 and 60 dB"):
        even_step(loss_db)


def test_bands_between_are_interpolated_in_the_logarithm_of_frequency():
    loss = step_from_profile("test", profile({"125": 3.0, "250": 9.0})).loss
    by_hz = dict(zip(loss.nominal_hz, loss.levels_db, strict=True))
    # Thirds of an octave are equal steps in lg f on the base-ten grid; 2 dB less each third below the lowest
    # band, down to 0; the highest is held.
    assert [
        by_hz[hz] for hz in (20.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 20000.0)
    ] == pytest.approx([0, 0, 1, 3, 5, 7, 9, 9, 9])


@given(st.lists(st.floats(-5, 40), min_size=len(OCTAVES), max_size=len(OCTAVES)))
def test_a_step_keeps_the_profile_and_stays_within_it(losses_db):
    loss = step_from_profile("test", profile(dict(zip(OCTAVES, losses_db, strict=True)))).loss
    by_hz = dict(zip(loss.nominal_hz, loss.levels_db, strict=True))
    assert [by_hz[float(hz)] for hz in OCTAVES] == pytest.approx(losses_db)
    assert loss.levels_db.min() >= min(0.0, *losses_db) - 1e-9
    assert loss.levels_db.max() <= max(losses_db) + 1e-9


def test_a_step_carries_source_spread_and_cautions():
    step = step_from_profile("test", profile({"500": 3.0}))
    assert (step.key, step.title, step.spread_db) == ("test", "Test", 2.0)
    assert step.cautions == ("Mind the step.",)
    assert step.source.how_known == "assumption"
