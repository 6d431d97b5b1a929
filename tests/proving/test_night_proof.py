"""Nights after the work, held against a plan; levels are those of the shipped excerpt, moved."""

from dataclasses import replace

import numpy as np
import pytest

from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.errors import SettingsError
from sleepnoise.proving.night_proof import prove_by_night


@pytest.fixture(scope="module")
def thick(curtain):
    """Return a promise of 25 dB on everything, without doubt about the room."""

    def level(each):
        return replace(each, promised=each.before - 25.0, u_db=0.5)

    return replace(
        curtain,
        laeq=level(curtain.laeq),
        background=replace(curtain.background, promised=curtain.background.before - 15.0, u_db=0.5),
        events=tuple(replace(each, lafmax=level(each.lafmax), margin_db=-5.0) for each in curtain.events),
        allowed=0,
        margin_db=0.0,
    )


@pytest.fixture
def later(demo_night):
    """Return a maker of the same night some decibels quieter."""
    night = read_kept_night(demo_night)

    def make(event_db, background_db):
        return replace(
            night,
            name="later",
            laeq=night.laeq - event_db,
            background_spectrum=night.background_spectrum.attenuated(background_db),
            events=tuple(
                replace(
                    each,
                    lafmax=each.lafmax - event_db,
                    max_spectrum=each.max_spectrum.attenuated(event_db),
                    background_spectrum=each.background_spectrum.attenuated(background_db),
                )
                for each in night.events
            ),
        )

    return make


def words(proof):
    return {each.name: each.word for each in (*proof.rows, proof.count)}


def test_a_night_as_promised_keeps_the_promise(thick, later):
    found = words(prove_by_night(thick, later(25.0, 15.0), same_recorder=True))
    assert found["LAeq"] == found["background"] == "kept"
    assert prove_by_night(thick, later(60.0, 15.0), same_recorder=True).word == "kept"


def test_a_night_as_before_breaks_it(thick, later):
    proof = prove_by_night(thick, later(0.0, 0.0), same_recorder=True)
    assert set(words(proof).values()) == {"not kept"}
    assert proof.word == "not kept"


def test_a_small_promise_one_night_cannot_tell(curtain, later):
    """A curtain that is promised to bring 3 dB with 2 dB of doubt cannot be told from nothing."""
    assert words(prove_by_night(curtain, later(2.0, 1.0)))["LAeq"] == "cannot tell"


def test_one_recorder_for_both_nights_leaves_less_doubt(thick, later):
    night = later(25.0, 15.0)
    for one, other in zip(
        prove_by_night(thick, night, same_recorder=True).rows, prove_by_night(thick, night).rows, strict=True
    ):
        assert one.expanded < other.expanded


def test_a_masker_that_is_too_quiet_breaks_its_promise(thick, later, curtain_and_masker):
    promise = replace(thick, masker=curtain_and_masker.masker)
    promise = replace(promise, background=replace(promise.background, promised=40.0))
    assert words(prove_by_night(promise, later(25.0, 0.0)))["background"] == "not kept"


def test_a_longer_night_may_have_more_audible_events(thick, later):
    promise = replace(thick, allowed=2)
    night = later(0.0, 0.0)
    assert prove_by_night(promise, night).count.promised == pytest.approx(2.0, rel=0.01)
    assert prove_by_night(promise, replace(night, recorded_s=3 * night.recorded_s)).count.promised == (
        pytest.approx(6.0, rel=0.01)
    )


def test_a_night_without_events_keeps_their_count(thick, later):
    found = prove_by_night(thick, replace(later(25.0, 15.0), events=()))
    assert (found.count.word, found.count.measured) == ("kept", 0.0)
    assert np.isfinite([each.expanded for each in found.rows]).all()


def test_the_plans_own_night_is_refused(curtain, demo_night):
    with pytest.raises(SettingsError, match="this very night"):
        prove_by_night(curtain, read_kept_night(demo_night))
