"""Reverberation of rooms whose decay is known, from the recordings a practitioner would make."""

import numpy as np
import pytest
import soundfile
from scipy.signal import fftconvolve

from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.trials.reverberation import THIRDS_HZ, study_reverberation
from sleepnoise.trials.test_sound import TestSound, write_test_sound

RATE_HZ = 16_000
TRUE_S = 0.6


def tail(rng, seconds=2.0, true_s=TRUE_S):
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return rng.standard_normal(time_s.size) * 10 ** (-3 * time_s / true_s)


def recorded(path, sound, rng, noise=1e-4, subtype="PCM_24"):
    sound = sound / np.abs(sound).max() * 0.7
    soundfile.write(path, sound + noise * rng.standard_normal(sound.size), RATE_HZ, subtype=subtype)
    return path


def bangs(folder, count, seed=3):
    rng = np.random.default_rng(seed)
    quiet = np.zeros(RATE_HZ)
    return [recorded(folder / f"bang-{n}.wav", np.r_[quiet, tail(rng), quiet], rng) for n in range(count)]


@pytest.fixture
def played(tmp_path):
    path = tmp_path / "sweep.wav"
    sound = TestSound(kind="sweep", seconds=4.0, sweeps=2, band_hz=(60.0, 7000.0), sample_rate_hz=RATE_HZ)
    write_test_sound(sound, path, force=False)
    return path


def check(result, lowest_hz=125.0, within=3.0):
    """Every band agrees with the truth within some standard uncertainties, and not by being vague."""
    known = [band for band in result.bands if band.nominal_hz >= lowest_hz]
    assert len(known) >= 5
    for band in known:
        assert abs(band.t20_s - TRUE_S) <= within * band.u_s, band
        assert band.u_s < 0.25 * TRUE_S
    assert result.mid_s == pytest.approx(TRUE_S, rel=0.08)


def test_bangs_at_several_places_give_the_room_s_time(tmp_path):
    result = study_reverberation(bangs(tmp_path, 4), "bang", volume_m3=30.0)
    check(result)
    middle = next(band for band in result.bands if band.nominal_hz == 1000.0)
    # Sabine, A = 0.16 V/T.
    assert middle.absorption_m2 == pytest.approx(0.16 * 30.0 / middle.t20_s)
    assert (middle.decays, result.recordings, result.remarks) == (4, 4, ())


def test_one_decay_is_as_unsure_as_the_standard_says(tmp_path):
    """ISO 3382-2:2008, 7.1 and 7.2, from memory: 0.88 T sqrt((1 + 1.9/10)/(N B T)) for one response."""
    [band] = [
        each for each in study_reverberation(bangs(tmp_path, 1), "bang").bands if each.nominal_hz == 1000.0
    ]
    bandwidth_hz = 1000 * (10**0.15 - 10**-0.15)
    assert band.u_s == pytest.approx(0.88 * band.t20_s * (1.19 / (bandwidth_hz * band.t20_s)) ** 0.5)


def test_more_places_are_surer(tmp_path):
    paths = bangs(tmp_path, 9)
    one, nine = (study_reverberation(some, "bang") for some in (paths[:1], paths))
    for alone, together in zip(one.bands, nine.bands, strict=True):
        if np.isfinite(alone.u_s):
            assert together.u_s < alone.u_s


def test_noise_that_is_switched_off_gives_the_same(tmp_path):
    rng = np.random.default_rng(8)
    paths = []
    for number in range(6):
        on = rng.standard_normal(3 * RATE_HZ)
        sound = fftconvolve(on, tail(rng))[: on.size + 2 * RATE_HZ]
        paths.append(recorded(tmp_path / f"off-{number}.wav", sound[RATE_HZ // 2 :], rng))
    check(study_reverberation(paths, "switched-off"))


def test_a_sweep_gives_the_same_however_late_it_was_played(tmp_path, played):
    rng = np.random.default_rng(9)
    sweep, _ = soundfile.read(played)
    paths = []
    for number, late_s in enumerate((0.0, 2.7, 11.0)):
        heard = fftconvolve(np.r_[np.zeros(round(late_s * RATE_HZ)), sweep[: 9 * RATE_HZ]], tail(rng))
        paths.append(recorded(tmp_path / f"swept-{number}.wav", heard, rng))
    result = study_reverberation(paths, "sweep", sweep=played)
    check(result)
    assert all(band.decays == 3 for band in result.bands if 250.0 <= band.nominal_hz <= 2000.0)


def test_third_octaves_go_as_far_as_the_rate_allows(tmp_path):
    result = study_reverberation(bangs(tmp_path, 1), "bang", octaves=False)
    assert [band.nominal_hz for band in result.bands] == list(THIRDS_HZ)
    octaves = study_reverberation(bangs(tmp_path, 1), "bang")
    assert octaves.bands[-1].nominal_hz == 4000.0


def test_a_weak_bang_is_not_told_from_noise(tmp_path):
    rng = np.random.default_rng(1)
    sound = np.r_[np.zeros(RATE_HZ), tail(rng), np.zeros(RATE_HZ)]
    result = study_reverberation([recorded(tmp_path / "weak.wav", sound, rng, noise=0.1)], "bang")
    assert all(np.isnan(band.t20_s) and np.isnan(band.u_s) and band.decays == 0 for band in result.bands)
    assert all(band.warnings for band in result.bands)


def test_an_overloaded_bang_is_told(tmp_path):
    rng = np.random.default_rng(2)
    sound = np.clip(3 * np.r_[np.zeros(RATE_HZ), tail(rng)], -0.999, 0.999)
    path = tmp_path / "loud.wav"
    soundfile.write(path, sound, RATE_HZ)
    assert "overloaded" in study_reverberation([path], "bang").remarks[0]


def test_what_cannot_be_evaluated_is_refused(tmp_path, played):
    rng = np.random.default_rng(4)
    bang = bangs(tmp_path, 1)[0]
    long, silent, other = (tmp_path / name for name in ("long.wav", "silent.wav", "other.wav"))
    soundfile.write(long, rng.standard_normal(130 * 8000) * 0.01, 8000)
    soundfile.write(silent, np.zeros(RATE_HZ), RATE_HZ)
    soundfile.write(other, rng.standard_normal(22_050) * 0.1, 22_050)
    for paths, how, sweep, complaint in (
        ([long], "bang", None, "at most 120 s"),
        ([silent], "bang", None, "digital silence"),
        ([bang], "switched-off", None, "no second of steady noise"),
        ([other], "sweep", played, "22050 Hz"),
        ([bang], "sweep", bang, "no test sound"),
    ):
        if complaint == "no test sound":
            soundfile.write(bang, np.r_[np.zeros(RATE_HZ), np.ones(RATE_HZ) * 0.1], RATE_HZ)
        with pytest.raises(RecordingError, match=complaint):
            study_reverberation(paths, how, sweep=sweep)
    for how, sweep, volume in (("bang", played, None), ("sweep", None, None), ("bang", None, 0.0)):
        with pytest.raises(SettingsError):
            study_reverberation([bang], how, sweep=sweep, volume_m3=volume)
