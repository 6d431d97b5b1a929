"""What two microphones say, as people read it."""

from dataclasses import replace

import numpy as np
import pytest

from sleepnoise.evidence.provenance import Provenance
from sleepnoise.pairing.alignment import Alignment
from sleepnoise.pairing.in_situ import BandDifference
from sleepnoise.pairing.paired import PairedEvent
from sleepnoise.screens.two_microphones import show_pair
from sleepnoise.trials.paired_nights import PairedNights

NAN = float("nan")


def event(outcome):
    row = np.array([20.0, 10.0])
    return PairedEvent(
        first_tick=0, last_tick=8, outer_db=row, pillow_db=row * 0, at_least=row > 99, likeness=row * 0 + 1,
        outcome=outcome,
    )  # fmt: skip


def band(nominal_hz, median_db, spread_db=1.0, at_least=False, limits=0, events=9):
    return BandDifference(
        nominal_hz=nominal_hz, median_db=median_db, lower_quartile_db=median_db - spread_db,
        upper_quartile_db=median_db + spread_db, energy_weighted_db=median_db + spread_db / 2, events=events,
        limits=limits, at_least=at_least,
    )  # fmt: skip


@pytest.fixture
def pair():
    return PairedNights(
        one_file=False,
        scale="calibrated",
        expanded_uncertainty_db=3.4,
        alignment=Alignment(lag_s=3.37, drift_ppm=-29.9, witnesses=9, spread_s=0.0012),
        nominal_hz=(100.0,),
        events=(*[event("used")] * 9, event("covered by another sound"), event("made in the bedroom")),
        bands=(
            band(None, 20.04), band(100.0, -2.0), band(4000.0, 41.0, NAN, at_least=True, limits=4, events=1),
            band(5000.0, NAN, NAN, at_least=True, events=0),
        ),
        remarks=("A remark \x1b[31m.",),
        provenance=Provenance(inputs=(), versions={}),
    )  # fmt: skip


@pytest.fixture
def shown(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")

    def show(result):
        show_pair(result)
        return capsys.readouterr().out

    return show


def words(text):
    return " ".join(text.split())


def test_the_answer_stands_first_and_everything_fits_80_columns(pair, shown):
    text = shown(pair)
    answer = "A-weighted, real noise is 20.0 dB quieter at the pillow than at the outer microphone"
    assert words(text).startswith(answer)
    assert max(map(len, text.splitlines())) <= 80


def test_what_counted_and_what_did_not_is_said(pair, shown):
    text = words(shown(pair))
    assert "9 of 11 sounds at the outer microphone count." in text
    assert "1 covered by another sound at the pillow." in text
    assert "1 made in the bedroom itself." in text
    assert "begins 3.370 s after the other; the clock at the pillow runs −29.9 ppm" in text
    assert "(9 sounds agree to 1.2 ms)" in text
    assert "Both microphones are calibrated" in text
    assert "to ±3.4 dB (k = 2)" in text


def test_limits_are_marked_and_unknown_bands_left_open(pair, shown):
    rows = {line.split()[0]: line.split()[1:] for line in shown(pair).splitlines() if line.strip()}
    assert rows["A"] == ["20.0", "19.0", "to", "21.0", "20.5", "9"]
    assert rows["100"] == ["−2.0", "−3.0", "to", "−1.0", "−1.5", "9"]
    assert rows["4000"] == ["≥", "41.0", "1", "4"]
    assert rows["5000"] == ["–", "0"]


def test_a_remark_cannot_act_on_the_terminal(pair, shown):
    assert "\x1b[31m" not in shown(pair)


def test_at_least_is_said_in_the_answer(pair, shown):
    limit = replace(pair, bands=(band(None, 35.0, NAN, at_least=True), *pair.bands[1:]))
    assert "is at least 35.0 dB quieter" in words(shown(limit))
    unknown = replace(pair, bands=(band(None, NAN, NAN, at_least=True), *pair.bands[1:]))
    assert words(shown(unknown)).startswith("What real noise loses on its way to the pillow 9 of 11")


def test_a_shape_is_called_a_shape(pair, shown):
    shape = replace(pair, scale="shape only", bands=pair.bands[1:], expanded_uncertainty_db=NAN)
    text = words(shown(shape))
    assert "as a shape over frequency" in text
    assert "The mean of all bands measured is set to 0 dB." in text
    assert "±" not in text


def test_one_recording_has_one_clock(pair, shown):
    one = replace(
        pair, one_file=True, scale="same gain", expanded_uncertainty_db=NAN,
        alignment=Alignment(lag_s=-0.0101, drift_ppm=0.0, witnesses=9, spread_s=0.0004),
    )  # fmt: skip
    text = words(shown(one))
    assert "One recording, one clock; sound arrives −10.1 ms later at the pillow" in text
    assert "recorded with the same gain: the differences hold as far as both microphones are alike." in text


def test_a_pair_that_shares_no_sound_says_so_and_shows_no_number(pair, shown):
    text = words(shown(replace(pair, alignment=None, bands=(), events=(event("not compared"),) * 4)))
    assert text.startswith("Cannot tell what is lost on the way to the pillow.")
    assert "Of 4 sounds" in text
    assert "not recordings of the same night" in text
    assert "Band, Hz" not in text


def test_the_cautions_are_always_there(pair, shown):
    text = words(shown(pair))
    assert "no standard test of a wall or door" in text
    assert "records other people's voices" in text
