"""The second opinion: what it looks at, when it agrees, and that the worked example comes out."""

import numpy as np
import pytest

from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, margin_db
from sleepnoise.hearing.two_models import Opinion, agreement_db, second_opinions
from sleepnoise.masking.masker import masker_shapes

SHAPES = {shape.name: shape for shape in masker_shapes()}
BANDS = len(MODEL_BANDS_HZ)


def opinion(margin, excess, partial=1.0):
    return Opinion(place=0, margin_db=margin, excess_db=excess, partial_sone=partial, alone_sone=2.0)


def test_the_passing_car_comes_out_as_in_the_worked_example(passby, published):
    by_bands = {-np.inf: passby.table["pink"]["quiet"][0]}
    by_bands |= {row[0]: row[1] for row in passby.table["pink"]["rows"]}
    for level_dba, sone, excess in published("partial_loudness")["passby"]["rows"]:
        noise_db = passby.background.combined(SHAPES["pink"].at(level_dba)).levels_db
        (found,) = second_opinions(passby.event.levels_db[None], noise_db[None])
        assert found.margin_db == pytest.approx(by_bands[level_dba], abs=0.05)
        # Exact bands whose whole energy counts, where the example has nominal ones in steps of 10 Hz.
        assert found.excess_db == pytest.approx(excess, abs=0.15)
        assert found.partial_sone == pytest.approx(sone, rel=0.005)
        # "The two agree within 2-4 dB, the band model being the stricter one throughout."
        assert 1 <= found.difference_db <= 4
        assert found.verdict == "heard"
        assert found.partial_sone < found.alone_sone


def test_worst_events_come_first_and_unknown_ones_are_left_out():
    rng = np.random.default_rng(3)
    signal_db, noise_db = rng.uniform(10, 50, (6, BANDS)), np.full((6, BANDS), 20.0)
    signal_db[2] = np.nan
    signal_db[4, :5] = np.nan
    found = second_opinions(signal_db, noise_db, count=3)
    margins = margin_db(signal_db, noise_db)
    expected = sorted((place for place in range(6) if place != 2), key=lambda place: -margins[place])[:3]
    assert [each.place for each in found] == expected
    assert all(np.isfinite(each.excess_db) for each in second_opinions(signal_db, noise_db))
    assert len(second_opinions(signal_db, noise_db)) == 5
    assert second_opinions(np.empty((0, BANDS)), np.empty((0, BANDS))) == ()


def test_a_band_of_unknown_noise_is_left_out_of_both_loudnesses():
    signal_db, noise_db = np.full((1, BANDS), 40.0), np.full((1, BANDS), -40.0)
    noise_db[0, 12] = np.nan
    (found,) = second_opinions(signal_db, noise_db)
    assert found.partial_sone == pytest.approx(found.alone_sone, rel=1e-3)


@pytest.mark.parametrize(
    ("margin", "excess", "partial", "verdict"),
    [
        (5.0, 3.0, 1.0, "heard"),
        (-1.0, -2.0, 0.5, "not heard"),
        (2.0, -1.0, 0.5, "cannot tell"),
        (-2.0, 1.0, 0.5, "cannot tell"),
        (2.0, 1.0, 0.001, "cannot tell"),
        (-2.0, 1.0, 0.001, "not heard"),
    ],
)
def test_a_verdict_needs_both_models(margin, excess, partial, verdict):
    assert opinion(margin, excess, partial).verdict == verdict


def test_agreement_runs_from_the_least_to_the_largest_difference():
    silent = opinion(-np.inf, -np.inf)
    assert agreement_db((opinion(5.0, 3.0), opinion(4.0, 5.0), silent)) == (-1.0, 2.0)
    assert agreement_db((silent,)) is None
    assert agreement_db(()) is None


def test_broad_sounds_at_the_limit_of_one_model_are_near_that_of_the_other():
    """Noises of many slopes in noises of many slopes: within 6 dB, the band model stricter on the whole."""
    rng = np.random.default_rng(6)
    octaves = np.arange(BANDS) / 3
    signal_db = rng.uniform(40, 60, (40, 1)) - rng.uniform(0, 6, (40, 1)) * octaves
    noise_db = rng.uniform(25, 45, (40, 1)) - rng.uniform(0, 5, (40, 1)) * octaves
    found = second_opinions(signal_db - margin_db(signal_db, noise_db)[:, None], noise_db)
    differences_db = np.array([each.difference_db for each in found])
    assert np.abs(differences_db).max() < 6
    assert np.median(differences_db) > 0
