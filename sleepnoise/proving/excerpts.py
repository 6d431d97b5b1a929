"""Excerpts to listen to: an event as it was, fading over into the same event behind the plan.

Both have the same gain, so that played at one setting they keep their difference. How loud that is, the
player decides: the level that belongs to it is said beside each file.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, pressure_level
from sleepnoise.acoustics.pressure import PressureArray, PressureBlock
from sleepnoise.assessing.calibrating import night_calibration
from sleepnoise.evidence.placing import placed_files
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.night.events import Event
from sleepnoise.proving.after_night import AfterNight, promised_events
from sleepnoise.proving.after_sound import NightLosses, PlayedMasker
from sleepnoise.proving.filtering import filtered
from sleepnoise.trials.sound_file import write_samples

AROUND_S = 3.0
"""Sound before and after an event, s. Chosen: what it stands out from has to be heard, too."""

LONGEST_S = 30.0
"""Longest excerpt, s. Chosen: enough to know a sound; both halves of a file then take a minute."""

FADING_S = 1.0
"""Length of the cross-fade, s. Chosen: long enough for no click, short enough to compare."""

LARGEST_SAMPLE = 0.5
"""Largest sample of a file. Chosen: 6 dB below full scale, for players that resample."""

SETTLING_S = 0.5
"""Sound that is filtered before an excerpt and left out, s. Chosen: more than a frame of the filter."""

LISTENING_CAUTIONS = (
    "Begin with the volume at its lowest. Turn it up with the first half of a file only, at the place where "
    "one sleeps, until a sound level meter reads the level that is said; never louder than that. Without a "
    "meter the files tell the difference, not how loud either half is.",
    "Headphones and small loudspeakers change the spectrum and give next to nothing below about 100 Hz: what "
    "booms at night is not heard from them.",
    "The second half is computed: isolation values are generic until they are measured in this room.",
    "Excerpts are not blurred: what was said in the bedroom, or heard through its walls, can be understood. "
    "Nobody else's ears without the consent of everybody who can be heard; the law of the place decides "
    "whether they may be kept and handed on.",
)
"""Said with every excerpt. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """One file.

    Attributes
    ----------
    path : Path
    number : int
        Of the event.
    seconds : float, s
        Of either half.
    lafmax_before, lafmax_after : float, dB(A)
    full_scale_db : float, dB
        Level of a sine that just reaches full scale when the file is played as loud as it was.
    """

    path: Path
    number: int
    seconds: float
    lafmax_before: float
    lafmax_after: float
    full_scale_db: float


def write_excerpts(
    after: AfterNight,
    folder: Path,
    numbers: tuple[int, ...],
    *,
    night: int = 1,
    ending: str = ".flac",
    force: bool = False,
) -> tuple[Excerpt, ...]:
    """Write the excerpts of some events, one file each.

    Parameters
    ----------
    after : AfterNight
    folder : Path
        That exists.
    numbers : tuple of int
        Of events.
    night : int
        Which of the plan's nights it is, from 1.
    ending : {".flac", ".wav"}
    force : bool
        Whether files of the same names may be replaced.

    Raises
    ------
    OutputError
        If a file is there already, or cannot be written; then none is there that was not.
    """
    record = after.before
    pairs = promised_events(record, after.promise, night)
    losses = NightLosses(record.history, [(event, each.origin) for event, each in pairs], after.promise)
    found = {each.number: each for each in after.events}
    paths = {
        event: folder / f"event_{event.number:03d}_before_and_after{ending}"
        for event, _ in pairs
        if event.number in numbers
    }
    written = []
    with placed_files(*paths.values(), force=force) as unfinished:
        for (event, path), place in zip(paths.items(), unfinished, strict=True):
            excerpt = _write(after, losses, event, found[event.number].lafmax.measured, place)
            written.append(replace(excerpt, path=path))
    return tuple(written)


def _write(after: AfterNight, losses: NightLosses, event: Event, lafmax_after: float, path: Path) -> Excerpt:
    record = after.before
    before_pa, after_pa = _both(after, losses, event)
    rate = record.sound.sample_rate_hz
    largest_pa = float(max(np.abs(before_pa).max(), np.abs(after_pa).max(), 1e-9))
    full_scale_pa = largest_pa / LARGEST_SAMPLE
    samples = _faded_over(before_pa, after_pa, round(FADING_S * rate)) / full_scale_pa
    write_samples(path, _in_blocks(samples[:, None], rate), channels=1, sample_rate_hz=rate, subtype="PCM_24")
    return Excerpt(
        path=path,
        number=event.number,
        seconds=before_pa.size / rate,
        lafmax_before=event.lafmax,
        lafmax_after=lafmax_after,
        full_scale_db=float(pressure_level(full_scale_pa**2 / 2.0)),
    )


def _both(after: AfterNight, losses: NightLosses, event: Event) -> tuple[PressureArray, PressureArray]:
    """Return the sound of an event as it was, and behind the plan, Pa."""
    record = after.before
    seconds = min(event.duration_s + 2.0 * AROUND_S, LONGEST_S)
    start = event.start - timedelta(seconds=AROUND_S)
    heard = record.sound.excerpt(
        record.calibration,
        start - timedelta(seconds=SETTLING_S),
        seconds + 2.0 * SETTLING_S,
        channel=record.settings.channel,
    )
    first = max(round((start - heard.start).total_seconds() * heard.sample_rate_hz), 0)
    own = slice(first, first + round(seconds * heard.sample_rate_hz))
    response = night_calibration(record.settings, None).response
    correction_db = response.correction_db if response else np.zeros_like
    corrected = _joined(filtered([heard], _nothing_lost, correction_db=correction_db))
    blocks = filtered([heard], losses.from_instant(heard.start), correction_db=correction_db)
    if after.promise.masker is not None:
        blocks = PlayedMasker(after.promise.masker, record.sound.sample_rate_hz).over(blocks)
    return corrected[own], _joined(blocks)[own]


def _nothing_lost(seconds: FloatArray) -> FloatArray:
    return np.zeros((seconds.size, len(MODEL_BANDS_HZ)))


def _joined(blocks: Iterator[PressureBlock]) -> PressureArray:
    return np.concatenate([block.pressure_pa for block in blocks])


def _faded_over(first: PressureArray, second: PressureArray, fading: int) -> FloatArray:
    """Return both, one after the other, the end of the first fading into the beginning of the second."""
    fading = min(fading, first.size)
    # Both are parts of different moments, so that their energies add up: a quarter of a circle.
    angle = np.pi / 2.0 * (np.arange(fading) + 0.5) / fading
    middle = first[first.size - fading :] * np.cos(angle) + second[:fading] * np.sin(angle)
    return np.concatenate([first[: first.size - fading], middle, second[fading:]])


def _in_blocks(samples: FloatArray, frames: int) -> Iterator[FloatArray]:
    for first in range(0, len(samples), frames):
        yield samples[first : first + frames]
