"""What reads recordings and tables survives some broken inputs; ``python -m tests.fuzz`` throws many more."""

import random
import signal
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.fuzz import targets_recordings, targets_tables
from tests.fuzz.__main__ import changed, trouble

TARGETS = targets_recordings.TARGETS | targets_tables.TARGETS
SEEDS = targets_recordings.SEEDS | targets_tables.SEEDS
RUNS, MOST_BYTES = 40, 10_000
"""Inputs for each reader, and the largest seed. Chosen: all of them in some seconds."""


@pytest.fixture(autouse=True)
def hooks():
    before = sys.unraisablehook, signal.getsignal(signal.SIGALRM)
    yield
    sys.unraisablehook = before[0]
    signal.signal(signal.SIGALRM, before[1])


@pytest.mark.parametrize("name", TARGETS)
def test_broken_input_is_read_or_refused(name):
    draw = random.Random(name)
    seeds = [seed for seed in SEEDS[name]() if len(seed) <= MOST_BYTES] or [b""]
    for data in [*seeds, *(changed(draw.choice(seeds), draw) for _ in range(RUNS))]:
        assert not trouble(TARGETS[name], data), data[:200]


def test_a_find_is_told():
    def stumbling(data):
        raise IndexError(data[0])

    assert "IndexError: 7" in trouble(stumbling, b"\7")
    assert not trouble(len, b"")
