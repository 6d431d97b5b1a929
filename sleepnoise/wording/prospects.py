"""What a first assessment will be able to tell, and what not, said before it is made."""

from dataclasses import dataclass
from typing import Literal

from sleepnoise.wording.rounding import duration_text

WHOLE_NIGHT_S = 0.95 * 8 * 3600
"""What counts as a whole night, s. Chosen: of the usual window of 8 h, as for verdicts."""

Recorder = Literal["phone", "recorder"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstNight:
    """What somebody has said of a first night, and what its files say.

    Attributes
    ----------
    recorder : Recorder
    calibrated : bool
    lossy : bool
        Whether the files are coded with loss.
    seconds : float, s
        Length of the recording.
    windows_said : bool
    country_said : bool
    unable : bool
        Whether a test recording said that the recorder cannot do the job.
    """

    recorder: Recorder
    calibrated: bool
    lossy: bool
    seconds: float
    windows_said: bool
    country_said: bool
    unable: bool = False


def can_tell(night: FirstNight) -> tuple[str, ...]:
    """Return what an assessment of this night can tell."""
    said = [
        "When sounds stood out, for how long, how far above the quiet between them, and which of them "
        "come again.",
        "What would take most off these sounds, from typical values.",
    ]
    if night.calibrated:
        said.insert(0, "How loud it was, with how far that may be off, and what published values say to it.")
    return tuple(said)


def cannot_tell(night: FirstNight) -> tuple[str, ...]:
    """Return what an assessment of this night cannot tell, and what would help."""
    said = []
    if night.unable:
        said.append(
            "Anything for sure: the test says that this recorder cannot do the job as it is set up. Change "
            "what it names, and record another night."
        )
    if not night.calibrated:
        said.append(
            "How loud it was in dB(A), so whether any published value is exceeded or kept, and what a masker "
            "could do: there is no calibration. A sound level meter lent for an hour will do: sleepnoise "
            "guide calibrate."
        )
    if night.recorder == "phone" or night.lossy:
        why = "a phone hisses about as loud as a quiet bedroom"
        if night.lossy:
            why = "this file is coded with loss"
        said.append(f"How quiet the quiet is: {why}. Loud sounds are told better than that.")
    if night.seconds < WHOLE_NIGHT_S:
        lasts = duration_text(night.seconds)
        said.append(f"Whether values meant for a whole night are kept: the recording lasts {lasts}.")
    if night.calibrated and not night.windows_said:
        said.append("What rules say that hold only for closed or for open windows.")
    if night.calibrated and not night.country_said:
        said.append("What the rules of a country say: only international values are asked.")
    said.append("Who made a sound, whether it woke you, and what other nights are like.")
    return tuple(said)
