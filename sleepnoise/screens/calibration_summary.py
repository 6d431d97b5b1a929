"""A kept calibration in one screen of 80 columns: what was found, how well, and how to use it."""

import math
import shlex
from collections.abc import Iterator
from datetime import date

from rich.text import Text

from sleepnoise.acoustics.decibels import pressure_level
from sleepnoise.calibration.kept import KeptCalibration
from sleepnoise.calibration.tone import MOST_DRIFT_DB
from sleepnoise.recording.calibration import ToneSpan
from sleepnoise.screens import terminal
from sleepnoise.wording.rounding import MONTHS, level_text, signed_text

CAUTION = (
    "It holds for the same recorder, microphone and gain only. Once the gain was touched, calibrate again; "
    "a tone recorded with every night is the better witness."
)
"""Said of every kept calibration. Common practice, no source."""


def show_kept(kept: KeptCalibration, file: str) -> None:
    """Print a calibration that was written to a file, and how to use it."""
    screen = terminal.Screen()
    screen.print(Text(f"A sine of {full_scale_sine_text(kept)} dB just reaches full scale", style="bold"))
    screen.print()
    terminal.show_lines(list(calibration_lines(kept)))
    for remark in (*remarks_of(kept), CAUTION):
        screen.print()
        screen.print(Text(terminal.plain(remark)))
    screen.print()
    terminal.show_text(f"Written to {file}. Use it with:")
    terminal.show_text(f"sleepnoise assess NIGHT --calibration {shlex.quote(file)} --zone ZONE --out FOLDER")


def full_scale_sine_text(kept: KeptCalibration) -> str:
    """Return the level of a sine that just reaches full scale, without its unit."""
    # The mean square of a sine is half the square of its peak.
    return level_text(float(pressure_level(kept.calibration.pascal_per_full_scale**2 / 2)))


def calibration_lines(kept: KeptCalibration) -> Iterator[tuple[str, str]]:
    """Yield what a calibration says, each with its name."""
    found = kept.calibration
    yield "Found by", found.origin
    for tone in found.tones:
        yield "Tone", _tone_text(tone)
    if not math.isnan(found.drift_db):
        word = "within" if abs(found.drift_db) <= MOST_DRIFT_DB else "beyond"
        yield "Drift", f"{signed_text(found.drift_db)} dB, {word} the {MOST_DRIFT_DB:g} dB allowed"
    yield "Uncertainty", f"±{level_text(found.expanded_uncertainty_db)} dB (k = 2), made of:"
    for part in found.parts:
        yield "", f"{part.what}, u = {level_text(part.standard_db, 2)} dB: {part.basis}"
    for name in ("recorder", "microphone", "gain"):
        if getattr(kept, name):
            yield name.capitalize(), getattr(kept, name)
    if kept.response is not None:
        yield "Response", f"{kept.response.origin}, {kept.response.frequency_hz.size} points"
    assert found.made_on is not None
    yield "Made on", _day_text(found.made_on)
    yield "Valid until", _day_text(kept.valid_until)


def remarks_of(kept: KeptCalibration) -> tuple[str, ...]:
    """Return what people should know of a calibration and its microphone."""
    return kept.calibration.remarks + (kept.response.remarks if kept.response else ())


def _tone_text(tone: ToneSpan) -> str:
    span = f"{level_text(tone.start_s, 2)} to {level_text(tone.end_s, 2)} s"
    return f"heard in {tone.name} from {span}, ends included; no part of a night"


def _day_text(day: date) -> str:
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"
