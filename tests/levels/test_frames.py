"""Frames lie at fixed places of the stream, whatever the blocks."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.acoustics.bands import band_edges_hz
from sleepnoise.levels.frames import SETTLED_S, FramePlan, Framer

PLAN = FramePlan(length=64, lead=4, trail=2, frames=3)


def frames_of(pieces):
    """Return all frames of a stream, shape (frames, length), and where their middles start."""
    framer = Framer(PLAN)
    # Copied: buffers are handed on.
    sets = [cut for piece in pieces for cut in framer.take(piece)]
    received = framer.received
    sets += framer.rest()
    places = [cut.first_sample + n * PLAN.hop for cut in sets for n in range(len(cut.samples))]
    return np.concatenate([np.empty((0, PLAN.length)), *(cut.samples for cut in sets)]), places, received


@given(st.integers(0, 1000), st.lists(st.integers(0, 1000), max_size=6))
def test_frames_hold_the_stream_at_their_places_however_it_arrives(samples, cuts):
    stream = np.arange(1, samples + 1, dtype=np.float32)
    frames, places, received = frames_of(np.split(stream, sorted(min(cut, samples) for cut in cuts)))
    assert received == samples
    assert places == [n * PLAN.hop for n in range(len(places))]
    padded = np.concatenate([np.zeros(PLAN.lead), stream, np.zeros(2000)])
    for frame, place in zip(frames, places, strict=True):
        np.testing.assert_array_equal(frame, padded[place : place + PLAN.length])


@given(st.integers(1, 1000))
def test_middle_parts_cover_the_stream_and_no_frame_is_wasted(samples):
    _, places, _ = frames_of([np.ones(samples, dtype=np.float32)])
    assert len(places) * PLAN.hop >= samples > (len(places) - 1) * PLAN.hop - PLAN.trail - PLAN.hop
    assert all(after - before == PLAN.hop for before, after in pairwise(places))


def test_nothing_gives_no_frames():
    assert frames_of([])[1] == []
    assert frames_of([np.empty(0, dtype=np.float32)])[1] == []


def test_frames_cannot_be_written_to():
    framer = Framer(PLAN)
    (cut,) = framer.take(np.ones(PLAN.stretch + PLAN.trail, dtype=np.float32))
    with pytest.raises(ValueError, match="read-only"):
        cut.samples[0, 0] = 1.0


def test_silence_stands_at_the_mean_of_either_end():
    """Of 1 ... 12 the last 5 have the mean 10, the first 5 have 3; a second holds 17 periods of 17.8 Hz."""
    assert SETTLED_S * band_edges_hz()[0, 0] > 17
    framer = Framer(PLAN, settled_samples=5)
    framer.take(np.arange(1, 13, dtype=np.float32))
    (cut,) = framer.rest()
    assert cut.samples[0, : PLAN.lead].tolist() == [3.0] * PLAN.lead
    assert (cut.samples[0, PLAN.lead + 12 :] == 10.0).all()


def test_a_stream_shorter_than_it_takes_to_settle_stands_at_its_own_mean():
    """Two samples of 4: nothing of the silence before them is taken into the mean."""
    framer = Framer(PLAN, settled_samples=5)
    framer.take(np.full(2, 4.0, dtype=np.float32))
    (cut,) = framer.rest()
    assert (cut.samples == 4.0).all()
