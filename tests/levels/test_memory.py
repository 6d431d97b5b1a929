"""Memory does not grow with the night, apart from its history."""

import tracemalloc

import numpy as np
import pytest

from sleepnoise.levels.engine import level_history

RATE_HZ = 8000
BLOCK_S = 10
ROWS = 10 + 23
"""Rows of the engine's table at 8 kHz: quantities, two parts of LZ, third octaves to 3150 Hz."""


@pytest.fixture(scope="module")
def peak_bytes(block, sounds):
    """Return a function from minutes of sound to the most memory that its analysis held."""
    noise = sounds.white(BLOCK_S, RATE_HZ)

    def measured(minutes):
        blocks = (block(noise, RATE_HZ) for _ in range(minutes * 60 // BLOCK_S))
        tracemalloc.start()
        try:
            level_history(blocks, expected_s=minutes * 60)
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    measured(1)  # what is loaded and cached on first use belongs to neither
    return measured


def test_a_longer_night_needs_its_history_and_nothing_more(peak_bytes):
    short_min, long_min = 10, 60
    more_ticks = (long_min - short_min) * 60 * 8
    history_bytes = more_ticks * ROWS * np.dtype(np.float32).itemsize
    # Half as much again: LZ is put together at the end, in float64.
    assert peak_bytes(long_min) - peak_bytes(short_min) < 1.5 * history_bytes + 2**20
