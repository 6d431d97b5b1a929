"""A stretch out of a sound file: sought where a decoder can count, otherwise decoded up to there."""

from datetime import UTC, datetime

import numpy as np
import soundfile

from sleepnoise.acoustics.pressure import PressureArray
from sleepnoise.formats.decoding import opened
from sleepnoise.formats.phone import PHONE_CONTAINERS
from sleepnoise.recording.audio_file import AudioFile, SoundStream, read_blocks
from sleepnoise.recording.calibration import Calibration

COUNTED_ENCODINGS = ("PCM_", "FLOAT", "DOUBLE", "ULAW", "ALAW")
"""Beginnings of the encodings in which every sample can be sought. Chosen: those in which a sample
does not depend on the ones before; other decoders land near a place, not on it."""


def read_stretch(
    audio: AudioFile, calibration: Calibration, first: int, end: int, *, channel: int = 1
) -> tuple[PressureArray, int]:
    """Read some samples of one channel, the same to the last bit as :func:`read_blocks` gives.

    Parameters
    ----------
    audio : AudioFile
    calibration : Calibration
    first, end : int
        First sample wanted, and the one after the last; what the file does not have is left out.
    channel : int
        Counted from 1.

    Returns
    -------
    pressure_pa : ndarray, shape (samples,), float32, Pa
    frames : int
        Samples that the file really holds; if that is not below ``end``, any number that is not either.

    Raises
    ------
    RecordingError
        As :func:`read_blocks`.
    """
    # The times of its blocks are of no use: the caller knows where the file lies in the night.
    stream = read_blocks(audio, calibration, datetime.min.replace(tzinfo=UTC), channel=channel)
    found = _sought(audio, calibration, first, end, channel) if is_counted(audio) else None
    return found or _decoded(stream, first, end)


def is_counted(audio: AudioFile) -> bool:
    """Return whether any sample of a file can be sought, instead of decoding up to it."""
    return audio.container not in PHONE_CONTAINERS and audio.encoding.startswith(COUNTED_ENCODINGS)


def _sought(
    audio: AudioFile, calibration: Calibration, first: int, end: int, channel: int
) -> tuple[PressureArray, int] | None:
    """Return a stretch without decoding what is before; None if the file is not as whole as it says."""
    wanted = max(min(end, audio.frames) - first, 0)
    buffer = np.full((wanted, audio.channels), np.nan, dtype=np.float32)
    last = np.empty((2, audio.channels), dtype=np.float32)
    with opened(audio.path) as (decoder, _):
        try:
            decoder.seek(audio.frames - 1)
            whole = len(decoder.read(out=last)) == 1
            if wanted and whole:
                decoder.seek(first)
                whole = len(decoder.read(out=buffer)) == wanted
        except soundfile.LibsndfileError:
            whole = False
    samples = buffer[:, channel - 1] * np.float32(calibration.pascal_per_full_scale)
    # What is no finite number is left to the decoder that says where it is.
    return (samples, audio.frames) if whole and np.isfinite(samples).all() else None


def _decoded(stream: SoundStream, first: int, end: int) -> tuple[PressureArray, int]:
    pieces, done = [np.empty(0, dtype=np.float32)], 0
    for block in stream:
        piece = block.pressure_pa[max(first - done, 0) : max(end - done, 0)]
        if piece.size:
            pieces.append(piece)
        done = stream.frames_read
        if done >= end:
            break
    return np.concatenate(pieces), done
