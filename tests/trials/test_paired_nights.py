"""Two microphones, from files to the isolation of a wall that is known."""

import json
import math

import numpy as np
import pytest
import soundfile

from sleepnoise.assessing.record import AssessSettings
from sleepnoise.errors import RecordingError, SettingsError, StartTimeError
from sleepnoise.evidence.plain import document_text
from sleepnoise.trials.paired_nights import PairSettings, compare_microphones, paired_document

RATE_HZ = 16_000
MINUTES = 5
CALIBRATED = PairSettings(
    outer=AssessSettings(full_scale_level_db=100.0), pillow=AssessSettings(full_scale_level_db=100.0)
)


def write(path, *channels):
    samples = np.stack(channels, axis=1) if len(channels) > 1 else channels[0]
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
    return path


def outcomes(result):
    return [event.outcome for event in result.events]


def errors_db(result, true_isolation):
    return {
        band.nominal_hz: band.median_db - true_isolation[band.nominal_hz]
        for band in result.bands
        if band.nominal_hz in true_isolation and not band.at_least
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("two")


@pytest.fixture(scope="module")
def night(folder, two_rooms):
    """Noise outside, a sleeper who coughs and snores; two recorders that differ by 30 ppm and 3.37 s."""
    rooms = two_rooms(60 * MINUTES).noise_outside(15).coughs(8).snores(8, amplitude=0.08)
    outer, pillow = rooms.recorded(floors=(3e-4, 8e-5))
    return write(folder / "hall.wav", outer), write(folder / "bed.wav", pillow)


@pytest.fixture(scope="module")
def measured(night):
    return compare_microphones(*night, CALIBRATED)


@pytest.fixture(scope="module")
def stereo(folder, two_rooms):
    outer, pillow = two_rooms(120, seed=3).noise_outside(6).recorded(lag_s=0.0, drift_ppm=0.0)
    return write(folder / "both.wav", outer, pillow)


def test_a_known_wall_is_found_again_within_1_db_from_100_hz_to_4_khz(measured, true_isolation):
    errors = errors_db(measured, true_isolation)
    assert set(errors) == set(true_isolation)
    assert max(map(abs, errors.values())) < 1.0
    by_energy = [band.energy_weighted_db - true_isolation[band.nominal_hz]
                 for band in measured.bands if band.nominal_hz in errors]  # fmt: skip
    assert np.abs(by_energy).max() < 1.0


def test_lag_and_drift_of_the_clocks_are_found(measured):
    assert measured.alignment.lag_s == pytest.approx(3.37, abs=0.005)
    # Lags to half a millisecond over five minutes.
    assert measured.alignment.drift_ppm == pytest.approx(30.0, abs=3.0)


def test_what_the_sleeper_does_is_told_from_what_comes_in(measured):
    assert outcomes(measured).count("used") >= 9
    assert outcomes(measured).count("made in the bedroom") >= 3
    assert "covered by another sound" in outcomes(measured)
    assert "not compared" not in outcomes(measured)
    # Snores come 20 ms earlier than noise from outside; they must not bend the line of the clocks.
    used = [event.off_line_s for event in measured.events if event.outcome == "used"]
    assert np.abs(used).max() < 0.001


def test_without_any_scale_the_shape_is_the_same(night, true_isolation):
    shape = compare_microphones(*night)
    assert shape.scale == "shape only"
    assert all(band.nominal_hz is not None for band in shape.bands)
    assert np.mean([band.median_db for band in shape.bands]) == pytest.approx(0.0, abs=1e-9)
    errors = list(errors_db(shape, true_isolation).values())
    assert np.ptp(errors) < 1.5
    assert outcomes(shape).count("made in the bedroom") >= 3


def test_two_different_nights_cannot_be_told(night, folder, two_rooms):
    _, other = two_rooms(60 * MINUTES, seed=2).noise_outside(15).recorded()
    result = compare_microphones(night[0], write(folder / "other.wav", other), CALIBRATED)
    assert result.alignment is None
    assert result.used == 0
    assert result.bands == ()
    assert paired_document(result)["verdict"] == "cannot tell"


def test_recordings_whose_time_stamps_lie_a_day_apart_are_refused(night, folder):
    first, second = folder / "20260114_230000.wav", folder / "20260115_230000.wav"
    for path, source in ((first, night[0]), (second, night[1])):
        path.write_bytes(source.read_bytes())
    zone = AssessSettings(zone="Europe/Vienna")
    with pytest.raises(RecordingError, match=r"same time; .* 23\.9 h"):
        compare_microphones(first, second, PairSettings(outer=zone, pillow=zone))


def test_time_stamps_that_agree_lead_to_the_same_alignment(night, folder, measured):
    first, second = folder / "A_20260116_230000.wav", folder / "B_20260116_230105.wav"
    for path, source in ((first, night[0]), (second, night[1])):
        path.write_bytes(source.read_bytes())
    zone = AssessSettings(zone="Europe/Vienna")
    stamped = compare_microphones(first, second, PairSettings(outer=zone, pillow=zone))
    assert stamped.alignment.lag_s == pytest.approx(measured.alignment.lag_s, abs=0.005)


def test_two_channels_with_the_same_gain_give_true_differences(stereo, true_isolation):
    result = compare_microphones(stereo, None, PairSettings(pillow=AssessSettings(channel=2), same_gain=True))
    assert result.scale == "same gain"
    assert math.isnan(result.expanded_uncertainty_db)
    assert result.alignment.drift_ppm == 0.0
    assert max(map(abs, errors_db(result, true_isolation).values())) < 1.0
    assert result.remarks == ()


def test_microphones_in_the_wrong_order_are_noticed(stereo):
    settings = PairSettings(outer=AssessSettings(channel=2), same_gain=True)
    result = compare_microphones(stereo, None, settings)
    assert result.used == 0
    assert any("wrong order" in remark for remark in result.remarks)


def test_sound_that_comes_early_in_one_recording_betrays_the_wrong_order_without_any_scale(folder, two_rooms):
    # 3.4 m of way are 10 ms.
    outer, pillow = two_rooms(90, seed=5).noise_outside(6).recorded(lag_s=0.01, drift_ppm=0.0)
    path = write(folder / "late.wav", outer, pillow)
    right = compare_microphones(path, None, PairSettings(pillow=AssessSettings(channel=2)))
    assert right.alignment.lag_s == pytest.approx(0.01, abs=0.002)
    assert right.remarks == ()
    wrong = compare_microphones(path, None, PairSettings(outer=AssessSettings(channel=2)))
    assert any("wrong order" in remark for remark in wrong.remarks)


def test_one_calibrated_microphone_is_no_scale(stereo):
    settings = PairSettings(outer=AssessSettings(full_scale_level_db=100.0), pillow=AssessSettings(channel=2))
    assert compare_microphones(stereo, None, settings).scale == "shape only"


def test_the_uncertainty_of_both_calibrations_adds_up(measured):
    # A stated full scale: u of 1.5 dB for the recorder, 3 dB and 1 dB rectangular; each of two, k = 2.
    one = 2 * math.sqrt(1.5**2 + 3**2 / 3 + 1 / 3)
    assert measured.expanded_uncertainty_db == pytest.approx(math.sqrt(2) * one)


def test_the_same_samples_twice_are_refused(night):
    with pytest.raises(RecordingError, match="very same samples"):
        compare_microphones(night[0], night[0])


def test_one_channel_for_both_is_refused(stereo):
    with pytest.raises(SettingsError, match="two channels"):
        compare_microphones(stereo)


def test_the_same_gain_in_two_recordings_is_refused(night):
    with pytest.raises(SettingsError, match="--same-gain"):
        compare_microphones(*night, PairSettings(same_gain=True))


def test_a_kept_calibration_needs_the_zone(night, tmp_path):
    settings = PairSettings(outer=AssessSettings(calibration_file=tmp_path / "kept.toml"))
    with pytest.raises(SettingsError, match="--zone"):
        compare_microphones(*night, settings)


def test_a_zone_without_time_stamps_says_what_to_leave_out(night):
    zone = AssessSettings(zone="Europe/Vienna")
    with pytest.raises(StartTimeError) as caught:
        compare_microphones(*night, PairSettings(outer=zone, pillow=zone))
    assert "--zone" in caught.value.remedy


def test_the_document_is_json_and_names_both_recordings(measured):
    document = json.loads(document_text(paired_document(measured)))
    assert document["verdict"] == "measured"
    assert [mark["name"] for mark in document["inputs"]] == ["hall.wav", "bed.wav"]
    rows = len(document["nominal_hz"]) + 1
    assert all(len(event["difference_db"]) == rows for event in document["events"])
    assert document["bands"][0]["nominal_hz"] is None


def test_progress_rises_to_the_end(stereo):
    shares = []
    compare_microphones(stereo, None, PairSettings(pillow=AssessSettings(channel=2)), shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
