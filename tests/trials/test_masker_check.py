"""A masker recorded at the pillow, on and off: what is kept, what is missed, and what cannot be told."""

import json

import numpy as np
import pytest
from scipy import fft

from sleepnoise.acoustics.bands import band_edges_hz
from sleepnoise.acoustics.decibels import combine, energy
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.profiles.door_test import GainEntry
from sleepnoise.trials.masker_check import check_masker, read_design
from sleepnoise.wording.masking_words import check_answers

RATE_HZ = 32_000
SECONDS = 10
FULL_SCALE_DB = 100.0
"""Level of a sine that just reaches full scale, so that 1 Pa has a root mean square of -9 dB re FS."""
GAIN = GainEntry(full_scale_level_db=FULL_SCALE_DB)

NO_BANDS = '{"nominal_hz": [], "levels_db": []}'
BANDS_HZ = np.array(MODEL_BANDS_HZ)
PINK = {shape.name: shape for shape in masker_shapes()}["pink"]
DESIGN_DB = np.where((BANDS_HZ >= 100) & (BANDS_HZ <= 5000), PINK.at(38.0).levels_db, -np.inf)
QUIET_DB = np.where(BANDS_HZ <= 10_000, 10.0, -np.inf)


def pressure(levels_db, seed):
    """Return steady noise with these band levels, Pa: flat within each band, made apart from the program."""
    samples = SECONDS * RATE_HZ
    line_hz = fft.rfftfreq(samples, 1 / RATE_HZ)
    amplitude = np.zeros(line_hz.size)
    for (lower_hz, upper_hz), level_db in zip(band_edges_hz(MODEL_BANDS_HZ).T, levels_db, strict=True):
        inside = (line_hz >= lower_hz) & (line_hz < upper_hz)
        # A line of amplitude a has a mean square of a²/2.
        amplitude[inside] = np.sqrt(2 * energy(level_db) * 20e-6**2 / inside.sum())
    phases = np.exp(2j * np.pi * np.random.default_rng(seed).random(line_hz.size))
    return fft.irfft(amplitude * phases * samples / 2, samples)


@pytest.fixture
def recorded(tmp_path, write_sound):
    """Return a function that writes noise as a recording and returns its path."""

    def write(name, *sounds_db, seed=1):
        total = sum(pressure(levels_db, seed + place) for place, levels_db in enumerate(sounds_db))
        full_scale_pa = 20e-6 * 10 ** (FULL_SCALE_DB / 20) * np.sqrt(2)
        return write_sound(tmp_path / name, total / full_scale_pa, RATE_HZ, subtype="PCM_24")

    return write


@pytest.fixture
def design(tmp_path):
    """Write a design as a file and return its path."""
    plain = [level if np.isfinite(level) else "-Infinity" for level in DESIGN_DB.tolist()]
    path = tmp_path / "masker.json"
    path.write_text(
        json.dumps(
            {
                "schema": {"name": "sleepnoise/masker", "version": 1},
                "spectrum": {"nominal_hz": list(MODEL_BANDS_HZ), "levels_db": plain},
            }
        )
    )
    return path


def places(recorded, levels_db, count=3):
    return [recorded(f"on{place}.wav", levels_db, QUIET_DB, seed=10 * place) for place in range(1, count + 1)]


def test_a_masker_as_designed_is_found_kept(recorded, design):
    off = recorded("off.wav", QUIET_DB, seed=99)
    check = check_masker(design, places(recorded, DESIGN_DB), [off], GAIN, same_recorder=True)
    assert check.absolute
    assert not check.failed
    assert check.level.word == "kept"
    assert abs(check.level.difference_db) < 0.2
    assert {row.word for row in check.bands} == {"kept"}
    assert [row.nominal_hz for row in check.bands] == BANDS_HZ[np.isfinite(DESIGN_DB)].tolist()
    # Flat within bands and cut off: half a decibel of the outermost bands lies in their neighbours.
    assert max(abs(row.difference_db) for row in check.bands) < 0.6
    assert check.positions == 3
    assert [mark.role for mark in check.provenance.inputs] == [
        "masker design",
        *["masker on"] * 3,
        "masker off",
    ]


def test_one_band_that_is_wrong_is_named_and_so_is_its_direction(recorded, design):
    wrong_db = DESIGN_DB.copy()
    wrong_db[MODEL_BANDS_HZ.index(500.0)] += 5.0
    wrong_db[MODEL_BANDS_HZ.index(2000.0)] -= 5.0
    off = recorded("off.wav", QUIET_DB, seed=99)
    check = check_masker(design, places(recorded, wrong_db), [off], GAIN, same_recorder=True)
    words = {row.nominal_hz: row.word for row in check.bands}
    assert words[500.0] == "too loud"
    assert words[2000.0] == "too quiet"
    assert words[1000.0] == "kept"
    assert check.failed


def test_a_masker_turned_up_is_too_loud(recorded, design):
    off = recorded("off.wav", QUIET_DB, seed=99)
    check = check_masker(design, places(recorded, DESIGN_DB + 4.0), [off], GAIN, same_recorder=True)
    assert check.level.word == "too loud"
    assert check.level.difference_db == pytest.approx(4.0, abs=0.2)


# The offset is put in by the test's own noise.
@pytest.mark.parametrize(("change_db", "said"), [(-9.0, ("quiet", "raise")), (6.0, ("loud", "lower"))])
def test_a_right_shape_at_a_wrong_level_is_told_first_with_what_to_do(recorded, design, change_db, said):
    off = recorded("off.wav", QUIET_DB - 10, seed=99)
    on = [
        recorded(f"on{place}.wav", DESIGN_DB + change_db, QUIET_DB - 10, seed=10 * place)
        for place in (1, 2, 3)
    ]
    check = check_masker(design, on, [off], GAIN, same_recorder=True)
    assert check.offset.offset_db == pytest.approx(change_db, abs=0.2)
    first, *_ = check_answers(check)
    what, do = said
    size = f"{abs(check.offset.offset_db):.1f} dB"
    assert first.startswith(f"Shape right within {check.offset.shape_within_db:.1f} dB")
    assert f"{size} too {what}: {do} the playback by {size}" in first


def test_no_common_offset_is_told_where_there_is_none(recorded, design):
    off = recorded("off.wav", QUIET_DB, seed=99)
    wrong_db = DESIGN_DB - 9.0
    wrong_db[MODEL_BANDS_HZ.index(500.0)] += 6.0
    kept = check_masker(design, places(recorded, DESIGN_DB), [off], GAIN, same_recorder=True)
    uneven = check_masker(design, places(recorded, wrong_db), [off], GAIN, same_recorder=True)
    relative = check_masker(design, places(recorded, DESIGN_DB - 9.0), [off], GainEntry())
    for check in (kept, uneven, relative):
        assert check.offset is None
        assert not any("playback" in sentence for sentence in check_answers(check))


def test_the_calibration_counts_unless_it_is_that_of_the_night(recorded, design):
    on, off = places(recorded, DESIGN_DB), [recorded("off.wav", QUIET_DB, seed=99)]
    other = check_masker(design, on, off, GAIN)
    same = check_masker(design, on, off, GAIN, same_recorder=True)
    assert other.level.uncertainty_db > same.level.uncertainty_db + 1.0
    # A level is told to a decibel by no recorder that is known to several.
    assert (other.level.word, same.level.word) == ("cannot tell", "kept")
    assert any("--same-recorder" in remark for remark in other.remarks)


def test_the_background_is_taken_off(recorded, design):
    """8 dB below the masker it adds 0.64 dB (definition), and is taken off as ISO 16283-1 allows."""
    noisy_db = np.where(np.isfinite(DESIGN_DB), DESIGN_DB - 8.0, 0.0)
    on = [recorded(f"on{place}.wav", DESIGN_DB, noisy_db, seed=10 * place) for place in (1, 2, 3)]
    check = check_masker(design, on, [recorded("off.wav", noisy_db, seed=99)], GAIN, same_recorder=True)
    middle = [row for row in check.bands if 400 <= row.nominal_hz <= 2500]
    assert max(abs(row.difference_db) for row in middle) < 0.3
    assert not any(row.at_limit for row in middle)


def test_nothing_is_told_where_the_background_is_too_near(recorded, design):
    noisy_db = QUIET_DB.copy()
    noisy_db[MODEL_BANDS_HZ.index(250.0)] = DESIGN_DB[MODEL_BANDS_HZ.index(250.0)] - 3.0
    on = [recorded("on.wav", DESIGN_DB, noisy_db)]
    check = check_masker(design, on, [recorded("off.wav", noisy_db, seed=99)], GAIN, same_recorder=True)
    rows = {row.nominal_hz: row for row in check.bands}
    assert rows[250.0].at_limit
    assert rows[250.0].word == "cannot tell"
    assert np.isnan(rows[250.0].uncertainty_db)
    assert not rows[1000.0].at_limit
    assert any("quieter hour" in remark for remark in check.remarks)


def test_one_place_tells_little_of_low_bands_and_is_said_to(recorded, design):
    on, off = places(recorded, DESIGN_DB, count=1), [recorded("off.wav", QUIET_DB, seed=99)]
    check = check_masker(design, on, off, GAIN, same_recorder=True)
    rows = {row.nominal_hz: row for row in check.bands}
    assert rows[125.0].uncertainty_db > 6.0
    assert rows[125.0].word == "cannot tell"
    assert any("1 of 5 places" in remark for remark in check.remarks)
    assert np.isnan(check.spread_db)


def test_without_calibration_the_shape_is_told_and_the_level_is_not(recorded, design):
    off = [recorded("off.wav", QUIET_DB, seed=99)]
    check = check_masker(design, places(recorded, DESIGN_DB + 6.0), off, GainEntry())
    assert not check.absolute
    assert check.level.word == "cannot tell"
    assert {row.word for row in check.bands} == {"kept"}
    assert not check.failed
    assert any("shape only" in remark for remark in check.remarks)
    wrong_db = DESIGN_DB.copy()
    wrong_db[MODEL_BANDS_HZ.index(500.0)] += 6.0
    tilted = check_masker(design, places(recorded, wrong_db), off, GainEntry())
    assert {row.nominal_hz: row.word for row in tilted.bands}[500.0] == "too loud"


def test_places_that_differ_are_told(recorded, design):
    on = [recorded("a.wav", DESIGN_DB), recorded("b.wav", DESIGN_DB + 5.0, seed=5)]
    check = check_masker(design, on, [recorded("off.wav", QUIET_DB, seed=99)], GAIN)
    assert check.spread_db == pytest.approx(5.0, abs=0.2)
    assert any("differ by 5.0 dB(A)" in remark for remark in check.remarks)


def test_recordings_of_both_states_are_needed(recorded, design):
    on = recorded("on.wav", DESIGN_DB)
    for states in (([on], []), ([], [on])):
        with pytest.raises(SettingsError, match="on and with it off"):
            check_masker(design, *states, GAIN)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{",
        '{"schema": {"name": "sleepnoise/assessment", "version": 1}}',
        '{"schema": {"name": "sleepnoise/masker", "version": 2}, "spectrum": ' + NO_BANDS + "}",
        '{"schema": {"name": "sleepnoise/masker", "version": 1}, "spectrum": ' + NO_BANDS + "}",
    ],
)
def test_what_is_no_design_is_refused(text, tmp_path):
    (tmp_path / "a.json").write_text(text)
    with pytest.raises(RecordingError) as raised:
        read_design(tmp_path / "a.json")
    assert "design-masker" in raised.value.remedy


def test_a_design_without_sound_has_nothing_to_check(tmp_path):
    spectrum = {"nominal_hz": list(MODEL_BANDS_HZ), "levels_db": ["-Infinity"] * len(MODEL_BANDS_HZ)}
    (tmp_path / "a.json").write_text(
        json.dumps({"schema": {"name": "sleepnoise/masker", "version": 1}, "spectrum": spectrum})
    )
    with pytest.raises(SettingsError, match="no sound"):
        read_design(tmp_path / "a.json")


def test_the_noise_of_these_tests_has_the_levels_it_claims():
    samples = pressure(DESIGN_DB, 1)
    total_db = 10 * np.log10(np.mean(samples**2) / 20e-6**2)
    assert total_db == pytest.approx(float(combine(DESIGN_DB)), abs=0.01)
