from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.dossier.document import assessment_document
from sleepnoise.errors import CalibrationError, ProfileError, RecordingError, SettingsError, StartTimeError
from sleepnoise.evidence.plain import document_text

RATE_HZ = 16_000
SETTINGS = AssessSettings(zone="Europe/Vienna", start="2026-01-14T23:00", full_scale_level_db=100.0)


def write_sine(path: Path, level_db: float, seconds: float = 40.0, frequency_hz: float = 1000.0) -> Path:
    """Write a sine of a level below a full-scale sine."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    amplitude = 10 ** (level_db / 20)
    soundfile.write(path, amplitude * np.sin(2 * np.pi * frequency_hz * time_s), RATE_HZ, subtype="PCM_24")
    return path


@pytest.fixture
def sine(tmp_path: Path) -> Path:
    """40 s of 1 kHz, 40 dB below a full-scale sine."""
    return write_sine(tmp_path / "night.wav", -40.0)


def test_a_sine_reads_what_its_calibration_says(sine: Path) -> None:
    """A weighting is 0 dB at 1 kHz (IEC 61672-1:2013, Table 3), so LAeq is 100 dB - 40 dB."""
    record = assess_recording(sine, SETTINGS)
    statistics = record.assessment.statistics
    assert statistics.laeq == pytest.approx(60.0, abs=0.02)
    assert statistics.lceq == pytest.approx(60.0, abs=0.02)
    # A sine's peak lies 20 lg(sqrt 2) = 3.01 dB over its effective value, once it no longer sets in;
    # the highest of 16 samples a period may lie cos(pi/16), 0.17 dB, below it.
    assert record.history.lcpeak[80:240] == pytest.approx(63.01, abs=0.17)
    assert statistics.lae == pytest.approx(60.0 + 10 * np.log10(40.0), abs=0.02)
    assert record.start.utc == datetime(2026, 1, 14, 22, 0, tzinfo=UTC)


def test_a_calibrators_tone_gives_the_same_levels(sine: Path, tmp_path: Path) -> None:
    """A tone 6 dB below a full-scale sine that stands for 94 dB is a full-scale level of 100 dB."""
    tone = write_sine(tmp_path / "tone.wav", -6.0, 15.0)
    record = assess_recording(sine, replace(SETTINGS, full_scale_level_db=None, tone=tone))
    assert record.assessment.statistics.laeq == pytest.approx(60.0, abs=0.05)
    assert [mark.role for mark in record.provenance.inputs[:2]] == ["recording", "calibration tone"]


def test_without_calibration_nothing_is_judged(sine: Path) -> None:
    record = assess_recording(sine, replace(SETTINGS, full_scale_level_db=None))
    assert not record.assessment.absolute
    assert {verdict.word for verdict in record.assessment.verdicts} == {"cannot tell"}


def test_threads_change_no_byte(sine: Path) -> None:
    one, two = (
        document_text(assessment_document(assess_recording(sine, replace(SETTINGS, threads=threads))))
        for threads in (1, 2)
    )
    assert one == two


def test_every_profile_that_was_used_is_among_the_inputs(sine: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    shipped = Path(__file__).parents[2] / "profiles" / "guidelines" / "who-1999-bedroom.toml"
    own.write_bytes(shipped.read_bytes())
    record = assess_recording(sine, replace(SETTINGS, guidelines=(str(own),)))
    assert record.guidelines == ("own.toml",)
    marks = {mark.name: mark.role for mark in record.provenance.inputs}
    assert marks["own.toml"] == "guideline profile"
    assert {"pink.toml", "door-seals-hollow-core.toml"} <= set(marks)
    assert "who-1999-bedroom.toml" not in marks


def test_no_countrys_guidelines_are_asked_unless_somebody_names_it(sine: Path) -> None:
    international = assess_recording(sine, SETTINGS).guidelines
    assert set(international) == {"who-1999-bedroom", "who-2009-night", "who-2018-night"}
    swedish = assess_recording(sine, replace(SETTINGS, guidelines=("SE", "who-1999-bedroom"))).guidelines
    assert swedish[-1] == "who-1999-bedroom"
    assert "fohmfs-2014-13" in swedish
    assert len(assess_recording(sine, replace(SETTINGS, guidelines=("all", "SE"))).guidelines) >= 25


def test_progress_only_rises_and_ends_at_one(sine: Path) -> None:
    shares: list[float] = []
    assess_recording(sine, SETTINGS, shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("changes", "error", "said"),
    [
        ({"guidelines": ("no-such",)}, ProfileError, "no-such"),
        ({"start": "2026-01-14T12:00"}, StartTimeError, "no part between"),
        ({"window": "25:00-07:00"}, SettingsError, "25:00"),
        ({"zone": None}, StartTimeError, "zone"),
        ({"tone": Path("tone.wav")}, CalibrationError, "only one way can count"),
        ({"full_scale_level_db": 400.0}, CalibrationError, "400"),
    ],
)
def test_what_can_be_refused_is_refused_before_listening(
    sine: Path, monkeypatch: pytest.MonkeyPatch, changes: dict[str, object], error: type, said: str
) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("the night was heard all the same")

    monkeypatch.setattr("sleepnoise.assessing.listening.level_history", never)
    with pytest.raises(error, match=said):
        assess_recording(sine, replace(SETTINGS, **changes))


def test_a_recording_that_still_grows_is_refused(sine: Path) -> None:
    def grow(_: float) -> None:
        with sine.open("ab") as stream:
            stream.write(b"\0" * 100)

    with pytest.raises(RecordingError, match="changed its size"):
        assess_recording(sine, SETTINGS, grow)


def test_a_recording_that_is_not_there_is_a_complaint(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="no such file"):
        assess_recording(tmp_path / "none.wav", SETTINGS)
