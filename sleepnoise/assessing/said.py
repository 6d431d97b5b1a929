"""What somebody says of a night that no recording can tell: labels, a diary, what made the sound."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from sleepnoise.judgement.circumstances import Circumstances, StatedLevel, clock_spans
from sleepnoise.profiles.guideline import Adjustment, Heard, SourceKind, Windows
from sleepnoise.recognition.diary import Diary, read_diary
from sleepnoise.recognition.groups import KnownSound
from sleepnoise.recognition.known_sounds import read_known_sounds
from sleepnoise.recognition.labels import Labels, read_labels
from sleepnoise.recognition.written_times import RecordedNight
from sleepnoise.recording.sequence import NightSound


@dataclass(frozen=True, slots=True, kw_only=True)
class Statements:
    """What a user may say of a night; nothing of it is ever guessed.

    Attributes
    ----------
    labels, diary, known_sounds : Path or None
        Labelled stretches and groups; a resident's notes; sounds kept from earlier nights.
    source_kind : SourceKind or None
        What makes the sound that the night is judged for.
    windows : {"open", "closed"} or None
    heard : tuple of {"tone", "music"} or None
        What a listener hears in it; empty if neither.
    adjustments_db : mapping of str to float, dB
        What has to be added for tones and impulses.
    source_on, source_off : tuple of str
        Clock times such as ``"23:10-23:45"`` with the source at work, and silent.
    residual, underlying : tuple of two float, or None
        Level and its expanded uncertainty, measured by other means.
    """

    labels: Path | None = None
    diary: Path | None = None
    known_sounds: Path | None = None
    source_kind: SourceKind | None = None
    windows: Windows | None = None
    heard: tuple[Heard, ...] | None = None
    adjustments_db: Mapping[Adjustment, float] = field(default_factory=dict)
    source_on: tuple[str, ...] = ()
    source_off: tuple[str, ...] = ()
    residual: tuple[float, float] | None = None
    underlying: tuple[float, float] | None = None

    @property
    def files(self) -> tuple[tuple[Path, str], ...]:
        """Every file that is read for it, with its role."""
        pairs = ((self.labels, "labels"), (self.diary, "diary"), (self.known_sounds, "known sounds"))
        return tuple((path, role) for path, role in pairs if path is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """The same, read and placed within a recording.

    Attributes
    ----------
    labels : Labels or None
    diary : Diary or None
    known : tuple of KnownSound
    circumstances : Circumstances
    """

    labels: Labels | None
    diary: Diary | None
    known: tuple[KnownSound, ...]
    circumstances: Circumstances


def read_said(statements: Statements, sound: NightSound, zone: ZoneInfo) -> Said:
    """Read what was said of a night.

    Raises
    ------
    SleepNoiseError
        For every mistake in it, with its file and line.
    """
    recorded = sound.start.utc, sound.start.utc + timedelta(seconds=sound.seconds)
    night = RecordedNight(start=recorded[0], end=recorded[1], zone=zone)
    return Said(
        labels=None if statements.labels is None else read_labels(statements.labels, night),
        diary=None if statements.diary is None else read_diary(statements.diary, night),
        known=() if statements.known_sounds is None else read_known_sounds(statements.known_sounds),
        circumstances=Circumstances(
            source_kind=statements.source_kind,
            windows=statements.windows,
            heard=statements.heard,
            adjustments_db=statements.adjustments_db,
            source_on=clock_spans(statements.source_on, zone, recorded),
            source_off=clock_spans(statements.source_off, zone, recorded),
            residual=_stated(statements.residual),
            underlying=_stated(statements.underlying),
        ),
    )


def _stated(level: tuple[float, float] | None) -> StatedLevel | None:
    return None if level is None else StatedLevel(level_db=level[0], uncertainty_db=level[1])
