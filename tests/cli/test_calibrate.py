"""The command ``calibrate``. Tones and levels are invented."""

import tomllib
from datetime import date, timedelta

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from sleepnoise.calibration.kept import read_calibration
from sleepnoise.cli.program import app

RATE_HZ = 16_000
PAIRS = [f"--beside-pair={meter}={recorder}" for meter, recorder in
         (("40", "-60"), ("50", "-50.3"), ("60", "-39.7"), ("70", "-30"), ("45", "-55"))]  # fmt: skip


def run(*words):
    return CliRunner().invoke(app, ["calibrate", *map(str, words)], env={"COLUMNS": "80"})


def words_of(text):
    return " ".join(text.split())


@pytest.fixture
def tone(tmp_path):
    def _tone(name="tone.wav", peak=0.5, frequency_hz=1000.0, channels=1):
        time_s = np.arange(8 * RATE_HZ) / RATE_HZ
        samples = peak * np.sin(2 * np.pi * frequency_hz * time_s)
        noise = np.random.default_rng(1).normal(0, 1e-3, (time_s.size, channels))
        noise[:, -1] += samples
        soundfile.write(tmp_path / name, noise, RATE_HZ, subtype="PCM_24")
        return tmp_path / name

    return _tone


def test_a_tone_is_found_kept_and_explained(tone, tmp_path):
    out = tmp_path / "kept.toml"
    done = run(
        "--tone",
        tone(),
        "--out",
        out,
        "--recorder",
        "Larch [bold]",
        "--gain",
        "knob at 3",
        "--microphone",
        "M1",
    )
    assert done.exit_code == 0, done.output
    # 94 dB at half of full scale: full scale lies 6.02 dB higher.
    assert done.stdout.startswith("A sine of 100.0 dB just reaches full scale\n")
    said = words_of(done.stdout)
    for part in ("at 1000.0 Hz", "tone.wav from 0.00 to 8.00 s", "±3.0 dB (k = 2)", "Larch [bold]"):
        assert part in said
    # Whole: without the time zone it would be refused.
    assert f"sleepnoise assess NIGHT --calibration {out} --zone ZONE --out FOLDER" in done.stdout
    kept = read_calibration(out)
    full_scale_pa = 20e-6 * 10 ** (94 / 20) * np.sqrt(2) / 0.5
    assert kept.calibration.pascal_per_full_scale == pytest.approx(full_scale_pa, rel=1e-3)
    assert (kept.recorder, kept.gain, kept.microphone) == ("Larch [bold]", "knob at 3", "M1")


def test_the_screen_is_80_columns_wide(tmp_path):
    done = run("--full-scale-level", 110, "--out", tmp_path / "kept.toml")
    # The command to copy must not be broken.
    prose = [line for line in done.stdout.splitlines() if "kept.toml" not in line]
    assert max(map(len, prose)) <= 80


def test_the_command_to_copy_survives_a_name_with_spaces(tmp_path):
    done = run("--full-scale-level", 110, "--out", tmp_path / "my gain.toml")
    assert f"--calibration '{tmp_path / 'my gain.toml'}'" in done.stdout


def test_tones_before_and_after_give_the_drift(tone, tmp_path):
    before, after = tone("before.wav"), tone("after.wav", peak=0.5 * 10 ** (0.3 / 20))
    done = run("--tone", before, "--tone-after", after, "--out", tmp_path / "kept.toml")
    assert done.exit_code == 0, done.output
    assert "+0.3 dB, within the 0.5 dB allowed" in words_of(done.stdout)
    assert tomllib.loads((tmp_path / "kept.toml").read_text())["drift_db"] == pytest.approx(0.3, abs=0.01)


def test_both_tones_are_taken_as_they_are_told(tone, tmp_path):
    before, after = tone("before.wav", channels=2), tone("after.wav", channels=2)
    told = ("--tone-level", 104, "--channel", 2)
    done = run("--tone", before, "--tone-after", after, *told, "--out", tmp_path / "kept.toml")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("A sine of 110.0 dB")


def test_a_gain_that_fell_too_much_is_beyond_what_is_allowed(tone, tmp_path):
    both = ("--tone", tone("before.wav"), "--tone-after", tone("after.wav", peak=0.45))
    done = run(*both, "--accept-drift", "--out", tmp_path / "kept.toml")
    assert "−0.9 dB, beyond the 0.5 dB" in words_of(done.stdout)


def test_too_much_drift_is_refused_or_accepted_and_said(tone, tmp_path):
    both = ("--tone", tone("before.wav"), "--tone-after", tone("after.wav", peak=0.6))
    refused = run(*both, "--out", tmp_path / "kept.toml")
    assert refused.exit_code == 2
    assert "--accept-drift" in refused.stderr
    accepted = run(*both, "--accept-drift", "--out", tmp_path / "kept.toml")
    assert accepted.exit_code == 0
    assert "beyond the 0.5 dB" in words_of(accepted.stdout)
    assert "accepted on request" in words_of(accepted.stdout)


def test_level_frequency_and_channel_of_the_calibrator_can_be_told(tone, tmp_path):
    out = tmp_path / "kept.toml"
    told = ("--tone-level", 114, "--tone-frequency", 250, "--channel", 2)
    done = run("--tone", tone(frequency_hz=250.0, channels=2), *told, "--out", out)
    assert done.exit_code == 0, done.output
    assert "A sine of 120.0 dB" in done.stdout
    assert read_calibration(out).calibration.frequency_hz == 250.0


def test_pairs_on_the_command_line_and_in_a_file_count_together(tmp_path):
    file = tmp_path / "pairs.csv"
    file.write_text("reference_db,recorder_db\n40,-60\n50,-50.3\n60,-39.7\n")
    out = tmp_path / "kept.toml"
    done = run("--beside", file, *PAIRS[3:], "--meter-class", 1, "--out", out)
    assert done.exit_code == 0, done.output
    assert "5 levels beside a class 1 meter" in done.stdout
    # The mean difference is 100 dB; a full-scale sine is 3.01 dB below a full-scale mean square.
    assert done.stdout.startswith("A sine of 97.0 dB")
    assert "class 2 meter, 40" in run(*PAIRS, "--out", tmp_path / "two.toml").stdout


# ISO 1996-2:2017, Table 1, footnote a: u of a class 1 meter 0.5 dB, of a class 2 meter 1.5 dB; U is twice u.
@pytest.mark.parametrize(
    ("told", "expanded_db", "said"),
    [((), 3.0, "taken for"), ((1,), 1.0, "said to be"), ((2,), 3.0, "said to be")],
)
def test_the_class_of_the_recorder_makes_the_uncertainty_of_a_tone(tone, tmp_path, told, expanded_db, said):
    out = tmp_path / "kept.toml"
    options = [word for value in told for word in ("--recorder-class", value)]
    done = run("--tone", tone(), *options, "--out", out)
    assert done.exit_code == 0, done.output
    assert f"±{expanded_db:.1f} dB (k = 2)" in words_of(done.stdout)
    calibration = read_calibration(out).calibration
    assert calibration.expanded_uncertainty_db == pytest.approx(expanded_db)
    assert said in calibration.parts[0].basis


def test_the_class_of_the_recorder_counts_beside_a_meter_and_with_both_tones_too(tone, tmp_path):
    class_1 = ("--recorder-class", 1)
    before, after = tone("before.wav"), tone("after.wav")
    for name, way in {
        "beside": PAIRS,
        "tones": ("--tone", before, "--tone-after", after),
        "stated": ("--full-scale-level", 110),
    }.items():
        out = tmp_path / f"{name}.toml"
        done = run(*way, *class_1, "--out", out)
        assert done.exit_code == 0, done.output
        assert read_calibration(out).calibration.parts[0].standard_db == 0.5


def test_the_microphones_response_is_kept_with_it(tmp_path):
    response = tmp_path / "response.txt"
    response.write_text("100 -1\n1000 0\n10000 2\n")
    told = ("--full-scale-level", 110, "--microphone-response", response)
    out = tmp_path / "kept.toml"
    done = run(*told, "--response-means", "correction", "--out", out)
    assert done.exit_code == 0, done.output
    assert "response.txt, read as correction, 3 points" in words_of(done.stdout)
    assert "known from 100 to 10000 Hz" in words_of(done.stdout)
    kept = read_calibration(out)
    assert kept.response is not None
    assert kept.response.response_db.tolist() == [1.0, 0.0, -2.0]
    assert run(*told, "--out", tmp_path / "other.toml").exit_code == 2


def test_the_day_is_today_unless_told_and_never_to_come(tmp_path):
    stated = ("--full-scale-level", 110, "--force", "--out", tmp_path / "kept.toml")
    before = date.today()
    assert run(*stated).exit_code == 0
    assert read_calibration(tmp_path / "kept.toml").calibration.made_on in (before, date.today())
    done = run(*stated, "--made-on", "2026-01-14", "--valid-days", 10)
    assert "14 January 2026" in done.stdout
    assert "24 January 2026" in done.stdout
    assert read_calibration(tmp_path / "kept.toml").valid_until == date(2026, 1, 24)
    to_come = run(*stated, "--made-on", date.today() + timedelta(days=2))
    assert (to_come.exit_code, "yet to come" in to_come.stderr) == (2, True)
    assert run(*stated, "--made-on", "14.1.2026").exit_code == 2


def test_nothing_is_replaced_without_force(tmp_path):
    out = tmp_path / "kept.toml"
    assert run("--full-scale-level", 110, "--out", out).exit_code == 0
    again = run("--full-scale-level", 120, "--out", out)
    assert again.exit_code == 2
    assert "--force" in again.stderr
    assert read_calibration(out).calibration.origin.endswith("110 dB")
    assert run("--full-scale-level", 120, "--out", out, "--force").exit_code == 0
    assert read_calibration(out).calibration.origin.endswith("120 dB")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "given: none"),
        (["--tone", "t.wav", "--full-scale-level", "100"], "given: a tone (--tone) and a full-scale level"),
        (["--tone", "t.wav", PAIRS[0]], "given: a tone (--tone) and a reference meter"),
        (["--tone-after", "t.wav"], "needs the one before it"),
        (["--full-scale-level", "100", "--tone-level", "94"], "--tone-level says something only together"),
        (["--full-scale-level", "100", "--tone-frequency", "250"], "--tone-frequency says"),
        (["--full-scale-level", "100", "--tone-after", "t.wav"], "--tone-after says"),
        (["--full-scale-level", "100", "--channel", "1"], "--channel says"),
        (["--full-scale-level", "100", "--meter-class", "1"], "--meter-class says"),
        (["--full-scale-level", "100", "--response-means", "response"], "--response-means says"),
        (["--tone", "t.wav", "--accept-drift"], "--accept-drift says"),
        (["--tone", "none.wav"], "none.wav"),
        (["--beside", "none.csv"], "none.csv"),
        (["--beside-pair", "60"], "METER=RECORDER"),
        (PAIRS[:3], "at least 5 pairs"),
        (["--full-scale-level", "20"], "70 to 170 dB"),
        (["--full-scale-level", "100", "--valid-days", "9999"], "0 to 730 days"),
        (["--full-scale-level", "100", "--recorder", "a\x07b"], "recorder"),
    ],
)
def test_exactly_one_way_with_its_own_options_or_a_remedy(words, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = run(*words, "--out", "kept.toml")
    assert done.exit_code == 2
    assert said in done.stderr
    assert "What to do: " in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_place_is_needed():
    done = run("--full-scale-level", "100")
    assert (done.exit_code, "--out" in done.stderr) == (2, True)


def test_a_kept_calibration_serves_a_night(tone, tmp_path):
    out = tmp_path / "kept.toml"
    run("--tone", tone(), "--made-on", "2026-01-14", "--out", out)
    night = tmp_path / "night.wav"
    soundfile.write(night, np.random.default_rng(1).normal(0, 1e-3, 60 * RATE_HZ), RATE_HZ)
    place = ("--start", "2026-01-14T23:00", "--zone", "Europe/Vienna", "--json")
    words = ["assess", str(night), "--calibration", str(out), *place]
    kept = CliRunner().invoke(app, words)
    assert kept.exit_code == 0, kept.output
    direct = CliRunner().invoke(app, ["assess", str(night), "--tone", str(tmp_path / "tone.wav"), *place])
    assert '"absolute": true' in kept.stdout
    level = [line for line in kept.stdout.splitlines() if '"LAeq_dB"' in line]
    assert level == [line for line in direct.stdout.splitlines() if '"LAeq_dB"' in line]
