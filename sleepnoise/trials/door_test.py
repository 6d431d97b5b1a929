"""A door test from its recordings and typed levels to one result, with what should be known of it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sleepnoise.errors import SettingsError
from sleepnoise.evidence.provenance import Provenance, library_versions
from sleepnoise.fieldwork.door_test import (
    DoorTest,
    Reading,
    Step,
    door_test,
    typed_reading,
)
from sleepnoise.profiles.door_test import DoorTestProfile, StepEntry
from sleepnoise.recording.calibration import Calibration
from sleepnoise.trials.readings import Listening, check_one_scale

FEW_S = 5.0
"""Steady time under which a reader is told, s. Chosen: what was asked for to begin with."""

MUCH_REJECTED = 1 / 3
"""Share of rejected time from which a reader is told. Chosen: what spoils a third may lie below the rest."""

LARGE_SPREAD_DB = 1.0
"""Spread of repeats from which a reader is told, dB. Chosen: twice what is expected."""

SOURCE_CHANGE_DB = 1.0
"""Change of the noise itself from which a reader is told, dB. Chosen: twice what is expected of repeats."""

LOUD_DBA = 85.0
"""Level from which ears are mentioned, dB(A). Chosen: where working rules ask for hearing protection
(common practice, no source)."""

ORDER = (
    "What a step removed is bookkeeping of energies in the order in which the steps were made, not proof of "
    "separate paths: the same change made earlier or later would show another number of decibels."
)

CAUTIONS = (
    "Before a door is sealed or changed: a rated fire door and an escape route stay as they are; people, and "
    "whatever burns fuel, need air (danger of carbon monoxide); smoke and carbon monoxide alarms, and an "
    "infant, must still be heard behind the closed door. Local codes and licensed practice decide.",
    f"While testing: begin at the lowest volume, wear hearing protection where it is {LOUD_DBA:g} dB(A) or "
    "more, keep children and animals away, tell the neighbours, and test by day. Steady noise at full power "
    "can ruin a loudspeaker.",
    "One place on each side is no standard test of a door, for which ISO 16283 asks for several positions of "
    "loudspeaker and microphone. Nothing but the door may change from step to step: volume, recording gain, "
    "places, other doors and windows.",
    "A recording holds voices: tell everybody who may be heard.",
)
"""Said of every door test. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DoorTestResult:
    """A door test and what it was made from.

    Attributes
    ----------
    title : str
    calibration : Calibration
        Of the recordings.
    absolute : bool
        Levels are dB re 20 µPa; otherwise relative to full scale, and only differences hold.
    test : DoorTest
    remarks : tuple of str
        What people should know, in sentences.
    provenance : Provenance
    """

    title: str
    calibration: Calibration
    absolute: bool
    test: DoorTest
    remarks: tuple[str, ...]
    provenance: Provenance


def study_door_test(
    profile: DoorTestProfile, folder: Path, on_progress: Callable[[float], None] = lambda _share: None
) -> DoorTestResult:
    """Listen to the recordings of a door test and set its steps side by side.

    Parameters
    ----------
    profile : DoorTestProfile
    folder : Path
        From which its sound files are named.
    on_progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    SleepNoiseError
        For everything that a user can cause.
    """
    states = [*profile.step, *([profile.background] if profile.background else [])]
    check_one_scale("door test", states, profile.calibration)
    _check_repeats(profile)
    done = iter(range(1, 1 + _recordings(profile)))
    listening = Listening(
        folder, profile.bands == "octave", lambda: on_progress(next(done) / _recordings(profile))
    )
    calibration = listening.calibration(profile.calibration, profile.channel)
    steps = [_step(entry, profile, calibration, listening) for entry in profile.step]
    background = (
        listening.readings(profile.background, calibration, profile.channel, "background")
        if profile.background
        else ()
    )
    since = (2 if len(steps) > 2 else 1) if profile.since is None else profile.since
    test = door_test(steps, background, since - 1)
    return DoorTestResult(
        title=profile.title,
        calibration=calibration,
        absolute=calibration.absolute or not any(entry.recordings for entry in profile.step),
        test=test,
        remarks=(*listening.remarks, *_remarks(test)),
        provenance=Provenance(inputs=tuple(listening.inputs), versions=library_versions()),
    )


def _step(entry: StepEntry, profile: DoorTestProfile, calibration: Calibration, listening: Listening) -> Step:
    relative = Calibration.relative()
    beside, channel = entry.source_recordings, profile.channel
    if profile.source_channel is not None:
        beside, channel = entry.recordings, profile.source_channel
    source = [listening.recorded(name, relative, channel, "recording beside the noise") for name in beside]
    return Step(
        title=entry.title,
        done=entry.done,
        readings=listening.readings(entry, calibration, profile.channel, "recording"),
        source=(*source, *(typed_reading(laeq) for laeq in entry.source_laeq)),
    )


def _recordings(profile: DoorTestProfile) -> int:
    """Return how many times a recording will be listened to."""
    both = 1 if profile.source_channel is None else 2
    steps = sum(both * len(step.recordings) + len(step.source_recordings) for step in profile.step)
    return steps + (len(profile.background.recordings) if profile.background else 0)


def _check_repeats(profile: DoorTestProfile) -> None:
    """Refuse one recording that is given twice: it repeats nothing."""
    background = profile.background.recordings if profile.background else []
    names = [name for step in profile.step for name in step.recordings] + background
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise SettingsError(
            f"door test: {twice!r:.80} is given twice; every reading must be a recording of its own.",
            remedy="Record each repeat anew, or leave one out.",
        )


def _remarks(test: DoorTest) -> Iterator[str]:
    for step in test.steps:
        for each in (*step.readings, *step.source):
            yield from _of_reading(each)
    yield from _of_repeats(test)
    yield from _of_source(test)
    if not test.background_read:
        yield (
            "No background was read: what it adds to the quiet steps is not known, so gains may be larger "
            "than printed."
        )
    for number in np.flatnonzero(test.ladder.at_limit[:, 0]):
        yield (
            f"{test.steps[number].title}: 6 dB or less above the background. ISO 16283-1 then allows 1.3 dB "
            "off and no more: gains up to this step read at least, gains from it cannot be told. Repeat it "
            "with louder noise, if ears and loudspeaker allow, or at a quieter hour."
        )


def _of_reading(reading: Reading) -> Iterator[str]:
    whole_s = reading.used_s + reading.rejected_s
    # Both comparisons are false for typed levels.
    if reading.used_s < FEW_S or reading.rejected_s > MUCH_REJECTED * whole_s:
        yield (
            f"{reading.name}: {reading.rejected_s:.1f} s of {whole_s:.1f} s were talk, bangs or no steady "
            "noise. Better record it again."
        )


def _of_repeats(test: DoorTest) -> Iterator[str]:
    for step, spread_db in zip(test.steps, test.repeat_spread_db, strict=True):
        if spread_db > LARGE_SPREAD_DB:
            yield (
                f"{step.title}: repeats scatter by {spread_db:.1f} dB (standard deviation). Something "
                "changed between them: the place of the microphone, the volume, how the door was closed."
            )
    if all(len(step.readings) < 2 for step in test.steps):
        yield (
            "No step was repeated: that the same step comes out again to 0.5 dB is an assumption. Open and "
            "close the door and read every step once more."
        )


def _of_source(test: DoorTest) -> Iterator[str]:
    read = [bool(step.source) for step in test.steps]
    if not any(read):
        return
    if not all(read):
        without = ", ".join(step.title for step in test.steps if not step.source)
        yield f"Nothing was read beside the noise during: {without}. What the noise changed is not taken off."
    for step, change_db in zip(test.steps, test.source_change_db[:, 0], strict=True):
        if abs(change_db) > SOURCE_CHANGE_DB:
            word = "louder" if change_db > 0 else "quieter"
            taken = "; taken off" if all(read) else ""
            yield (
                f"{step.title}: the noise itself was {abs(change_db):.1f} dB {word} than during the first "
                f"step{taken}."
            )
