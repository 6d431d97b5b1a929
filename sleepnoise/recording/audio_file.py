"""Sound files: what they hold, and their samples as a stream of calibrated blocks."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class AudioFile:
    """What a sound file says of itself, checked.

    Attributes
    ----------
    path : Path
    container, encoding : str
        Such as ``"WAV"`` and ``"PCM_24"``.
    sample_rate_hz : int, Hz
    channels : int
    frames : int
        Samples in each channel.
    """

    path: Path
    container: str
    encoding: str
    sample_rate_hz: int
    channels: int
    frames: int

    @property
    def seconds(self) -> float:
        """Length, s."""
        return self.frames / self.sample_rate_hz
