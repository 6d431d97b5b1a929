"""What the sounds of a night are, through the whole job: labels, own sounds, diary, statements, character."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.record import AssessSettings
from sleepnoise.assessing.said import Statements
from sleepnoise.errors import RecordingError, StartTimeError
from sleepnoise.judgement.circumstances import StatedLevel
from sleepnoise.recognition.known_sounds import known_sounds_document

RATE_HZ = 16_000
START = "2026-01-14T23:30"
SETTINGS = AssessSettings(start=START, zone="Europe/Vienna", full_scale_level_db=100.0)
KNOCKS_S, COUGHS_S = (70.0, 130.0, 190.0, 250.0), (100.0, 220.0)


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five minutes of quiet with four like knocks from outside and two coughs."""
    rng = np.random.default_rng(5)
    samples = rng.standard_normal(300 * RATE_HZ) * 1e-4
    time_s = np.arange(RATE_HZ) / RATE_HZ
    knock = 0.02 * np.sin(2 * np.pi * 180 * time_s) * np.exp(-time_s / 0.12)
    cough = 0.03 * rng.standard_normal(RATE_HZ) * np.exp(-time_s / 0.2)
    for at, sound in [*((at, knock) for at in KNOCKS_S), *((at, cough) for at in COUGHS_S)]:
        first = round(at * RATE_HZ)
        samples[first : first + RATE_HZ] += sound
    path = tmp_path_factory.mktemp("night") / "night.flac"
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
    return path


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def clock(seconds: float) -> str:
    return (datetime(2026, 1, 14, 23, 30) + timedelta(seconds=seconds)).isoformat()


def said(**statements: object) -> AssessSettings:
    return replace(SETTINGS, statements=Statements(**statements))  # type: ignore[arg-type]


def test_like_sounds_are_one_group_and_a_later_night_knows_them(night: Path, tmp_path: Path) -> None:
    first = assess_recording(night, SETTINGS)
    events = first.assessment.events
    assert [round((each.start - first.start.utc).total_seconds()) for each in events] == sorted(
        map(round, KNOCKS_S + COUGHS_S)
    )
    knocks = {each.group for each in events if (each.start - first.start.utc).total_seconds() + 1 > 70} - {""}
    assert knocks
    from sleepnoise.evidence.plain import document_text

    known = written(
        tmp_path, "known.json", document_text(known_sounds_document(first.sounds.recognised.known))
    )
    again = assess_recording(night, said(known_sounds=known))
    assert [each.group for each in again.assessment.events] == [each.group for each in events]
    assert all(group.known_before for group in again.sounds.recognised.grouped.groups)


def test_the_sleepers_own_sounds_count_in_one_set_of_figures_and_not_in_the_other(
    night: Path, tmp_path: Path
) -> None:
    rows = "".join(f"{clock(at - 1)},{clock(at + 2)},cough\n" for at in COUGHS_S)
    labels = written(tmp_path, "labels.csv", f"start,end,label\n{rows}")
    record = assess_recording(night, said(labels=labels))
    flagged = [each for each in record.assessment.events if each.label == "cough"]
    assert len(flagged) == 2
    assert all("sleeper: not counted" in each.flags for each in flagged)
    both = record.sounds.own
    assert both is not None
    assert both.everything.lafmax > both.others_only.lafmax + 1
    assert both.everything.laeq > both.others_only.laeq
    assert record.assessment.statistics.laeq == both.everything.laeq
    assert len(record.sounds.verdicts_without_own) == len(record.assessment.verdicts)
    assert record.plan.events == 4
    assert "labels" in {mark.role for mark in record.provenance.inputs}
    assert assess_recording(night, SETTINGS).sounds.own is None


def test_a_diary_is_set_beside_the_recording(night: Path, tmp_path: Path) -> None:
    diary = written(tmp_path, "diary.csv", f"time,words\n{clock(72)},knocking\n{clock(250)},again\n")
    matched = assess_recording(night, said(diary=diary)).sounds.diary
    assert matched is not None
    assert (matched.matched, len(matched.matches)) == (2, 2)


def test_what_is_said_of_the_source_reaches_verdicts_and_disturbance(night: Path) -> None:
    settings = said(source_kind="road", windows="closed", heard=("tone",), residual=(22.0, 1.5))
    record = assess_recording(night, replace(settings, guidelines=("all",)))
    assert record.sounds.disturbance.events == {"road": 6}
    assert record.sounds.disturbance.estimates
    quiet = assess_recording(night, SETTINGS).sounds.disturbance
    assert (quiet.events, quiet.estimates) == ({}, ())
    unsaid = assess_recording(night, replace(SETTINGS, guidelines=("all",)))
    assert [each.word for each in record.assessment.verdicts] != [
        each.word for each in unsaid.assessment.verdicts
    ]


def test_stated_levels_and_times_are_placed_in_the_night(night: Path) -> None:
    from zoneinfo import ZoneInfo

    from sleepnoise.assessing.said import read_said
    from sleepnoise.recording.sequence import open_night

    sound = open_night(night, given=START, zone="Europe/Vienna")
    statements = Statements(source_on=("23:31-23:32",), underlying=(30.0, 1.0))
    found = read_said(statements, sound, ZoneInfo("Europe/Vienna")).circumstances
    assert found.underlying == StatedLevel(level_db=30.0, uncertainty_db=1.0)
    assert found.source_on[0][0] == datetime(2026, 1, 14, 22, 31, tzinfo=UTC)


def test_background_and_stretches_are_described(night: Path) -> None:
    sounds = assess_recording(night, SETTINGS).sounds
    assert sounds.background.room is not None
    assert sounds.quiet is not None
    assert 36.0 <= sounds.quiet.seconds <= 120.0
    assert sounds.busy is not None
    assert sounds.busy.adjustment_db > 0


def test_a_recording_that_cannot_be_sought_in_is_compared_by_its_levels(night: Path, tmp_path: Path) -> None:
    samples, rate_hz = soundfile.read(night)
    lossy = tmp_path / "night.ogg"
    with soundfile.SoundFile(lossy, "w", rate_hz, 1) as file:
        for first in range(0, samples.size, rate_hz):
            file.write(samples[first : first + rate_hz])
    sounds = assess_recording(lossy, SETTINGS).sounds
    assert not sounds.recognised.grouped.listened
    assert (sounds.quiet, sounds.busy) == (None, None)


@pytest.mark.parametrize(
    ("statements", "error"),
    [
        ({"labels": "start,end,label\nnonsense,23:31,cough\n"}, RecordingError),
        ({"diary": "time,words\n99:00,what\n"}, RecordingError),
        ({"known_sounds": "{}"}, RecordingError),
        ({"source_on": ("12:00-13:00",)}, StartTimeError),
    ],
)
def test_mistakes_in_what_is_said_are_refused_before_listening(
    night: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    statements: dict[str, object],
    error: type[Exception],
) -> None:
    given = {
        name: written(tmp_path, f"{name}.csv", value) if isinstance(value, str) else value
        for name, value in statements.items()
    }
    monkeypatch.setattr("sleepnoise.assessing.assess.listen", None)
    with pytest.raises(error):
        assess_recording(night, said(**given))
