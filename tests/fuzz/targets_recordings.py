"""What reads the bytes of recordings, and what their names and a recorder's clock say."""

import atexit
import io
import os
import shutil
import struct
import tempfile
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import soundfile

from sleepnoise.calibration.tone import calibration_from_tone
from sleepnoise.recording.audio_file import open_audio, read_blocks
from sleepnoise.recording.calibration import Calibration
from sleepnoise.recording.clock import ClockCorrection, ClockReading
from sleepnoise.recording.sequence import open_night
from sleepnoise.recording.stretch import read_stretch
from sleepnoise.recording.timestamps import find_start

FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-sound-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
WHEN = datetime(2026, 2, 10, 23, tzinfo=UTC)
RATE_HZ = 8000

SOUNDFILE_FORMS = {
    "riff": (
        "WAV PCM_16",
        "WAV PCM_24",
        "WAV FLOAT",
        "WAVEX PCM_16",
        "RF64 PCM_16",
        "WAV IMA_ADPCM",
        "WAV GSM610",
    ),
    "flac": ("FLAC PCM_16", "FLAC PCM_24"),
    "ogg": ("OGG VORBIS", "OGG OPUS"),
    "mp3": ("MP3 MPEG_LAYER_III",),
    "other-sound": ("AIFF PCM_16", "AIFF FLOAT", "W64 PCM_16", "CAF PCM_16", "CAF ALAC_16"),
}
PHONE_FORMS = (
    ("mp4", "aac"),
    ("adts", "aac"),
    ("amr", "libopencore_amrnb"),
    ("webm", "libopus"),
    ("3gp", "aac"),
)


def sound(data: bytes) -> None:
    """Read a file as a night would, whole and in part."""
    path = FOLDER / "20260210_230000.bin"
    path.write_bytes(data)
    audio = open_audio(path)
    stream = read_blocks(audio, Calibration.relative(), WHEN)
    frames = sum(block.pressure_pa.size for block in stream)
    assert frames == stream.frames_read > 0, "sound was promised, none came"
    middle = frames // 2
    read_stretch(audio, Calibration.relative(), middle, middle + 100)
    night = open_night(path, zone="Europe/Vienna")
    assert str(night.remarks).isprintable()


def tone(data: bytes) -> None:
    path = FOLDER / "tone.wav"
    path.write_bytes(data)
    calibration_from_tone(path)


def start(data: bytes) -> None:
    """Read a time off a file name."""
    name = os.fsdecode(data.replace(b"/", b"").replace(b"\0", b"")[:250]) or "x"
    find_start(Path(name), 48_000, given=None, zone="Europe/Vienna")


def clock(data: bytes) -> None:
    """Correct the clock by what may be two readings, then take a start that was given."""
    readings = [ClockReading.parse(text) for text in _text(data).split("|")]
    near = datetime(2026, 3, 29, 1, 30)
    found = ClockCorrection.from_readings(readings, ZoneInfo("Europe/Vienna"), near)
    assert found.text.isprintable()
    found.corrected(near)
    assert found.uncertainty_s(near) > 0


def given_start(data: bytes) -> None:
    given, _, zone = _text(data).partition("|")
    find_start(Path("x.wav"), 48_000, given=given, zone=zone or None)


def _text(data: bytes) -> str:
    # What a shell hands over is any bytes but zero.
    return os.fsdecode(data.replace(b"\0", b""))


def _signal(seconds: float = 0.3) -> np.ndarray:
    times = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return 0.3 * np.sin(2 * np.pi * 1000 * times) + np.random.default_rng(1).normal(0, 0.001, times.size)


def _by_soundfile(form: str, seconds: float = 0.3) -> bytes:
    container, subtype = form.split()
    buffer = io.BytesIO()
    soundfile.write(buffer, _signal(seconds), RATE_HZ, format=container, subtype=subtype)
    return buffer.getvalue()


def _broadcast() -> bytes:
    """Return a WAV file with a bext chunk before the format and a LIST behind the sound."""
    plain = _by_soundfile("WAV PCM_16")
    bext = bytes(320) + b"2026-02-1023:00:00" + struct.pack("<Q", 8000 * 82_800) + bytes(256)
    chunks = (
        b"bext" + struct.pack("<I", len(bext)) + bext + plain[12:] + b"LIST" + struct.pack("<I", 4) + b"INFO"
    )
    return b"RIFF" + struct.pack("<I", 4 + len(chunks)) + b"WAVE" + chunks


def _by_phone(container: str, codec: str) -> bytes:
    import av

    buffer = io.BytesIO()
    with av.open(buffer, "w", format=container) as out:
        stream = out.add_stream(codec, rate=48_000 if codec == "libopus" else RATE_HZ, layout="mono")
        samples = np.tile(_signal(), 6 if codec == "libopus" else 1).astype(np.float32)
        resampler = av.AudioResampler(format=stream.codec_context.format, layout="mono", rate=stream.rate)
        frame = av.AudioFrame.from_ndarray(samples[None], format="fltp", layout="mono")
        frame.sample_rate = stream.rate
        for piece in (*resampler.resample(frame), *resampler.resample(None)):
            out.mux(stream.encode(piece))
        out.mux(stream.encode(None))
    return buffer.getvalue()


def _phone_seeds() -> list[bytes]:
    seeds = []
    for form in PHONE_FORMS:
        # Builds of the library differ in the coders that they bring.
        with suppress(ImportError, ValueError, LookupError):
            seeds.append(_by_phone(*form))
    return seeds or [b"\0\0\0\x18ftypM4A "]


def _sound_seeds(name: str) -> list[bytes]:
    seeds = [_by_soundfile(form) for form in SOUNDFILE_FORMS[name]]
    return [*seeds, _broadcast()] if name == "riff" else seeds


TARGETS: dict[str, Callable[[bytes], None]] = {
    **dict.fromkeys((*SOUNDFILE_FORMS, "phone"), sound),
    "tone": tone,
    "start": start,
    "clock": clock,
    "given-start": given_start,
}
SEEDS: dict[str, Callable[[], list[bytes]]] = {
    **{name: (lambda name=name: _sound_seeds(name)) for name in SOUNDFILE_FORMS},
    "phone": _phone_seeds,
    "tone": lambda: [_by_soundfile("WAV PCM_16", 3.0)],
    "start": lambda: [
        b"20260210_230000.wav",
        b"2026-02-10T23-00-00+0100.wav",
        b"260210_230000.wav",
        b"69B2C3D4.wav",
    ],
    "clock": lambda: [
        b"22:58:30=23:00:00",
        b"2026-03-28T22:58:30=2026-03-28T23:00:00|2026-03-29T06:00:00=2026-03-29T07:01:31+02:00",
    ],
    "given-start": lambda: [
        b"2026-03-05T23:10:00|Europe/Vienna",
        b"2026-03-29T02:10:00+01:00|America/New_York",
    ],
}
