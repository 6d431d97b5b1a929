"""C-weighted peaks against IEC 61672-1:2013, Table 5."""

import numpy as np
import pytest

from sleepnoise.levels.engine import level_history

PLACES = (0.0, 0.21, 0.5, 0.83)
"""Where between two samples the cycle starts: a peak must not depend on it."""


def cycles(rate_hz, frequency_hz, count, place):
    """Return one second with that many cycles, half ones too; fewer than none start downwards."""
    time_s = (np.arange(rate_hz) - round(0.3 * rate_hz) - place) / rate_hz
    inside = (time_s >= 0) & (time_s <= abs(count) / frequency_hz)
    return np.sign(count) * np.sin(2 * np.pi * frequency_hz * time_s) * inside


@pytest.fixture(scope="module", params=[48000, 44100, 96000])
def differences(request, iec_61672, block):
    """LCpeak - LC of every row, dB, for every place."""
    rate_hz, rows = request.param, iec_61672["c_peak"]["rows"]
    seconds = [cycles(rate_hz, hz, count, place) for count, hz, *_ in rows for place in PLACES]
    time_s = np.arange(2 * rate_hz) / rate_hz
    seconds += [np.sin(2 * np.pi * hz * time_s) for _, hz, *_ in rows]
    history = level_history(block(sound, rate_hz) for sound in seconds)
    few = len(rows) * len(PLACES)
    peaks = history.lcpeak[: few * 8].reshape(len(rows), len(PLACES), 8).max(axis=-1)
    steady = history.lceq[few * 8 :].reshape(len(rows), 16)[:, 4:12].mean(axis=-1)
    return list(zip(rows, peaks - steady[:, np.newaxis], strict=True))


def test_peaks_lie_within_the_class_1_limits(differences):
    for (count, frequency_hz, expected_db, limit_db), found in differences:
        assert found == pytest.approx(expected_db, abs=limit_db), (count, frequency_hz)


def test_peaks_at_31_and_500_hz_agree_with_the_table_itself(differences):
    """Half a printed step, and as much again for samples that miss the crest."""
    for (count, frequency_hz, expected_db, _), found in differences:
        if frequency_hz <= 500:
            assert found == pytest.approx(expected_db, abs=0.1), (count, frequency_hz)


def test_peaks_of_either_sign_count(differences):
    """5.11.3 and 5.12 treat both signs alike; here they must be equal."""
    found = {count: levels for (count, frequency_hz, *_), levels in differences if frequency_hz == 500}
    assert found[0.5] == pytest.approx(found[-0.5], abs=0.001)
