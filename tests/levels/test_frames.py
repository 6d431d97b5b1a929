"""Frames lie at fixed places of the stream, whatever the blocks."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.levels.frames import FramePlan, Framer

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
