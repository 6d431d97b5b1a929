import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from PIL import Image

from sleepnoise.demo import writing
from sleepnoise.demo.scenario import NOTICE, SETTLING_S
from sleepnoise.demo.writing import excerpt, sample_values, write_demo, write_excerpt
from sleepnoise.errors import OutputError, SettingsError

SHIPPED = Path(__file__).parents[2] / "demo_audio"
HOURS = 0.2


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    return write_demo(folder / "night", hours=HOURS, seed=4, sample_rate_hz=8000, force=False)


def files_of(folder):
    """Return the files below a folder, but for those that say that somebody is at work."""
    found = (path for path in folder.rglob("*") if path.is_file() and not path.name.startswith("."))
    return {path.relative_to(folder): path for path in found}


def digests(folder):
    return {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in files_of(folder).items()}


def test_the_same_seed_writes_the_same_bytes(written, tmp_path):
    write_demo(tmp_path, hours=HOURS, seed=4, sample_rate_hz=8000, force=False)
    assert digests(tmp_path) == digests(written.recording.parent)


def test_another_seed_writes_another_night(written, tmp_path):
    other = write_demo(tmp_path, hours=HOURS, seed=5, sample_rate_hz=8000, force=False)
    assert other.recording.read_bytes() != written.recording.read_bytes()


def test_the_folder_holds_what_was_said_and_nothing_else(written):
    said = {
        written.recording, written.calibration_tone, *written.door_test, written.truth_file, written.note,
        *(written.recording.parent / name for name in ("bedroom.toml", "door_test.toml")),
    }  # fmt: skip
    assert set(files_of(written.recording.parent).values()) == said
    assert written.recording.name == "larch-court-flat-3_20260210_225500.flac"


def test_the_recording_is_the_synthesis_rounded(written):
    samples, rate_hz = soundfile.read(written.recording)
    assert rate_hz == 8000
    assert samples.size == HOURS * 3600 * 8000
    synthesis = writing.Synthesis(writing.planned_night(4, hours=HOURS), 8000)
    pressure_pa = synthesis.pressure_pa(synthesis.first, synthesis.last)
    # Half a step of 24 bits.
    assert np.max(np.abs(samples * written.pascal_per_full_scale - pressure_pa)) <= 2.829 / 2**23 / 2


def test_a_full_scale_sine_is_100_db(written):
    rms_pa = written.pascal_per_full_scale / np.sqrt(2)
    assert 20 * np.log10(rms_pa / 20e-6) == pytest.approx(100.0, abs=1e-9)
    tone, _ = soundfile.read(written.calibration_tone)
    # 94 dB is 6 dB below: half of full scale, 10^(-6/20).
    assert np.max(np.abs(tone)) == pytest.approx(10 ** (-6 / 20), abs=1e-4)


def test_nothing_reaches_full_scale(written):
    for path in (written.recording, written.calibration_tone, *written.door_test):
        assert np.max(np.abs(soundfile.read(path)[0])) < 0.9


@pytest.mark.parametrize("folder", ["written", "shipped"])
def test_every_file_says_that_it_is_invented(folder, written):
    files = files_of(SHIPPED if folder == "shipped" else written.recording.parent)
    assert files
    for path in files.values():
        if path.suffix == ".flac":
            with soundfile.SoundFile(path) as file:
                assert file.comment == NOTICE
        elif path.suffix == ".png":
            with Image.open(path) as picture:
                assert picture.info["Comment"] == NOTICE
        else:
            assert NOTICE in path.read_text(encoding="utf-8")
    assert NOTICE.startswith("INVENTED DATA")


def test_the_truth_file_tells_the_truth(written):
    table = json.loads(written.truth_file.read_text(encoding="utf-8"))
    assert table["recording"] == written.recording.name
    assert table["zone"] == "Europe/Vienna"
    assert table["start_local"] == "2026-02-10T22:55:00+01:00"
    assert table["pascal_per_full_scale"] == written.pascal_per_full_scale
    assert len(table["events"]) == len(written.truth.events) >= 1
    for row, event in zip(table["events"], written.truth.events, strict=True):
        assert row["start_s"] == event.start_s > SETTLING_S
        assert row["alone"]["LAFmax_dB"] == event.alone.lafmax
        assert row["with_background"]["LAE_dB"] == event.mix.lae
    assert [row["LAeq_dB"] for row in table["door_test"]] == [71.0, 60.0, 53.0, 49.0, 30.0]


def test_progress_is_told_from_nothing_to_all(tmp_path):
    heard = []
    write_demo(tmp_path, hours=0.05, seed=1, sample_rate_hz=8000, force=False, on_progress=heard.append)
    assert heard == sorted(heard)
    assert heard[-1] == 1.0


def test_even_the_shortest_night_lies_in_the_night_window_and_holds_a_sound(tmp_path):
    night = write_demo(tmp_path, hours=0.05, seed=1, sample_rate_hz=8000, force=False)
    assert night.recording.name == "larch-court-flat-3_20260211_040500.flac"
    assert night.truth.events


def test_nothing_is_overwritten_unless_forced(tmp_path):
    precious = tmp_path / "truth.json"
    precious.write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=r"truth\.json: is there already") as caught:
        write_demo(tmp_path, hours=0.05, seed=1, sample_rate_hz=8000, force=False)
    assert "--force" in caught.value.remedy
    assert list(tmp_path.iterdir()) == [precious]
    assert precious.read_text(encoding="utf-8") == "mine"
    write_demo(tmp_path, hours=0.05, seed=1, sample_rate_hz=8000, force=True)
    assert json.loads(precious.read_text(encoding="utf-8"))["notice"] == NOTICE


def test_a_folder_that_cannot_be_made_is_told_in_one_sentence(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(OutputError, match=r"file.*cannot be written"):
        write_demo(tmp_path / "file" / "demo", hours=0.05, seed=1, sample_rate_hz=8000, force=False)


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of folders work otherwise")
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written_to_is_told(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="cannot be written"):
        write_demo(tmp_path, hours=0.05, seed=1, sample_rate_hz=8000, force=False)


def test_wrong_settings_leave_no_folder_behind(tmp_path):
    with pytest.raises(SettingsError):
        write_demo(tmp_path / "night", hours=9.0, seed=1, force=False)
    assert list(tmp_path.iterdir()) == []


def test_an_interruption_leaves_nothing_half_written(tmp_path):
    def interrupt(_share):
        raise KeyboardInterrupt

    for folder in (tmp_path / "new" / "folder", tmp_path):
        with pytest.raises(KeyboardInterrupt):
            write_demo(folder, hours=0.05, seed=1, sample_rate_hz=8000, force=False, on_progress=interrupt)
        assert list(tmp_path.iterdir()) == []


FULL_DISK = """
import resource, sys
from pathlib import Path
from sleepnoise.demo.writing import write_demo
from sleepnoise.errors import OutputError
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), int(sys.argv[2])))
try:
    write_demo(Path(sys.argv[1]), hours=0.05, seed=1, sample_rate_hz=8000, force=False)
except OutputError as error:
    print(error.complaint)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of files")
@pytest.mark.parametrize("missing", [1, 300_000])
def test_a_disk_without_room_is_told_and_left_clean(tmp_path, missing):
    night = write_demo(tmp_path / "whole", hours=0.05, seed=1, sample_rate_hz=8000, force=False)
    limit = str(night.recording.stat().st_size - missing)
    command = [sys.executable, "-c", FULL_DISK, str(tmp_path / "full"), limit]
    run = subprocess.run(command, capture_output=True, text=True, check=True)
    assert ".flac: cannot be written (it is incomplete, the disk may be full)" in run.stdout
    assert not (tmp_path / "full").exists()


@pytest.mark.parametrize("bits", [16, 24])
def test_sample_values_are_rounded_and_never_turn_over(bits):
    step_pa = writing.PASCAL_PER_FULL_SCALE / 2 ** (bits - 1)
    values = sample_values(np.array([0.0, 0.6, -1.4, 2.0**bits, -(2.0**bits)]) * step_pa, bits)
    largest = 2 ** (bits - 1)
    assert (values >> (32 - bits)).tolist() == [0, 1, -1, largest - 1, -largest]


def test_the_shipped_folder_is_small():
    assert sum(path.stat().st_size for path in files_of(SHIPPED).values()) < 8e6


def test_the_shipped_rounding_lies_25_db_below_the_background(second_way):
    samples, rate_hz = soundfile.read(next(SHIPPED.glob("larch-court*.flac")))
    synthesis = excerpt()
    quiet = slice(95 * rate_hz, 125 * rate_hz)
    exact_pa = synthesis.pressure_pa(synthesis.first + quiet.start, synthesis.first + quiet.stop)
    error_pa = samples[quiet] * writing.PASCAL_PER_FULL_SCALE - exact_pa
    assert second_way.laeq(error_pa, rate_hz) < second_way.laeq(exact_pa, rate_hz) - 25.0


def test_the_frozen_excerpt_is_what_its_call_makes(tmp_path):
    """Guards against change, not against error: the shipped files came from this call."""
    write_excerpt(tmp_path, force=False)
    made, shipped = files_of(tmp_path), files_of(SHIPPED)
    assert made.keys() <= shipped.keys()
    assert "write_excerpt(Path('demo_audio'), force=True)" in shipped[Path("NOTE.md")].read_text("utf-8")
    for name, path in made.items():
        if path.suffix == ".flac":
            new, old = (soundfile.read(each, dtype="int16")[0].astype(int) for each in (path, shipped[name]))
            # Other processors may round the last digit the other way.
            assert np.max(np.abs(new - old)) <= 1
    new, old = (json.loads(files[Path("truth.json")].read_text("utf-8")) for files in (made, shipped))
    assert [row["kind"] for row in new["events"]] == [row["kind"] for row in old["events"]]
    for row, shipped_row in zip(new["events"], old["events"], strict=True):
        assert row["alone"] == pytest.approx(shipped_row["alone"], abs=1e-3)
        assert row["start_s"] == pytest.approx(shipped_row["start_s"], abs=1e-3)


def test_room_and_door_test_of_the_demo_are_those_that_lie_beside_the_excerpt():
    for name in ("bedroom.toml", "door_test.toml"):
        assert (Path(writing.__file__).parent / name).read_bytes() == (SHIPPED / name).read_bytes()
