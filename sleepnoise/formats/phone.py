"""Sound files that phones write: AAC in m4a, 3gp, AMR, Opus in WebM. Needs the extra ``phone``.

The demuxer is told what the first bytes of the file promise, and gets the open file instead of
its name: nothing in a file or a name can make it look anywhere else.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from sleepnoise.errors import RecordingError

if TYPE_CHECKING:
    from av.audio.codeccontext import AudioCodecContext
    from av.audio.frame import AudioFrame
    from av.audio.stream import AudioStream
    from av.container import InputContainer

JUMP_S = 0.1
"""Jump of the time stamps that is a hole in the sound, s. Chosen: five packets; rounding stays below one."""

LONGEST_HOLE_S = 86_400.0
"""Longest hole believed, s. Chosen: a day; a longer one is a broken time stamp."""

PADDING_FRAMES = 2048
"""Frames beyond the stated length that may be padding. Chosen: the longest packet of AAC; if there is
more, the length was wrong."""

LONGEST_PACKET_BYTES = 8191
"""Longest packet of a stream without an index. Source: ISO/IEC 14496-3, 13 bits of length (memory)."""

READ_BYTES = 2**16
"""Bytes handed to the demuxer at once. Chosen: more gains nothing."""

MOST_CHANNELS = 8
"""Most channels. Chosen: phones record one or two; the library crashes on frames with more than eight."""

_SIGNATURES = {b"ftyp": "mov", b"moov": "mov", b"mdat": "mov", b"wide": "mov"}
_CONTAINERS = {"mov": "MP4", "amr": "AMR", "matroska": "WEBM", "aac": "AAC"}
# Measured: the usual decoder takes 6 to 23 dB off steady tones below 1 kHz, this one 0.5 dB.
_BETTER_DECODERS = {"amrnb": "libopencore_amrnb", "amrwb": "libopencore_amrwb"}
PHONE_CONTAINERS = tuple(_CONTAINERS.values())

FrameArray = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhoneSound:
    """What a phone's file says of itself.

    Attributes
    ----------
    container, encoding : str
        Such as ``"MP4"`` and ``"AAC"``.
    sample_rate_hz : int, Hz
    channels, frames : int
    """

    container: str
    encoding: str
    sample_rate_hz: int
    channels: int
    frames: int


def phone_format(path: Path) -> str | None:
    """Return the demuxer that the first bytes of a file ask for; None if it is no phone's file.

    Parameters
    ----------
    path : Path
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(12)
    except (OSError, ValueError):
        return None
    if head.startswith(b"#!AMR"):
        return "amr"
    if head.startswith(b"\x1a\x45\xdf\xa3"):
        return "matroska"
    # ADTS: twelve ones, and "layer" 0, which no MP3 has.
    if head[:1] == b"\xff" and len(head) > 1 and head[1] & 0xF6 == 0xF0:
        return "aac"
    return _SIGNATURES.get(head[4:8])


def read_phone_header(path: Path, demuxer: str) -> PhoneSound:
    """Tell what a phone's file holds; its first packet is decoded to be sure.

    Parameters
    ----------
    path : Path
    demuxer : str
        From :func:`phone_format`.

    Returns
    -------
    PhoneSound

    Raises
    ------
    RecordingError
        If the extra is not installed, or there is no sound in the file that can be decoded.
    """
    with _opened(path, demuxer) as (container, stream):
        stated_s = _stated_seconds(container, stream)
        first = next(_frames(path, container, stream), None)
        if first is None:
            raise _unreadable(path, "no sound could be decoded")
        if first.layout.nb_channels > MOST_CHANNELS:
            raise _unreadable(
                path, f"it has {first.layout.nb_channels} channels, {MOST_CHANNELS} at most are read"
            )
        rate_hz = first.sample_rate
        encoding = stream.codec_context.name.upper()
    return PhoneSound(
        container=_CONTAINERS[demuxer],
        encoding=encoding,
        sample_rate_hz=rate_hz,
        channels=first.layout.nb_channels,
        frames=_counted_frames(path, demuxer, rate_hz) if stated_s is None else round(stated_s * rate_hz),
    )


def stated_creation(path: Path) -> tuple[datetime, float] | None:
    """Return when a phone's file says that it was made, and how long it is, s; None if it does not.

    ISO/IEC 14496-12 asks for UTC (from memory). Whether the moment is the beginning, the end or that of a
    copy, and whether it really is UTC, differs from app to app and cannot be told from the file.

    Parameters
    ----------
    path : Path
    """
    demuxer = phone_format(path)
    if demuxer is None:
        return None
    try:
        with _opened(path, demuxer) as (container, stream):
            moment = datetime.fromisoformat(container.metadata.get("creation_time", ""))
            seconds = _stated_seconds(container, stream)
    except (RecordingError, OSError, ValueError):
        return None
    return (moment, seconds or 0.0) if moment.tzinfo is not None else None


def decode_phone(
    path: Path, demuxer: str, sound: PhoneSound, block_frames: int, notes: list[str]
) -> Iterator[FrameArray]:
    """Decode a phone's file from its beginning, in blocks.

    Parameters
    ----------
    path : Path
    demuxer : str
    sound : PhoneSound
        What its header said; rate and channels must not change.
    block_frames : int
        Frames of a block; only the last one is shorter.
    notes : list of str
        Takes what is to be said of the sound.

    Yields
    ------
    ndarray, shape (frames, channels), float32

    Raises
    ------
    RecordingError
        If sampling rate or channels change, or the file is damaged before its end.
    """
    with _opened(path, demuxer) as (container, stream):
        collected: list[FrameArray] = []
        held = 0
        form = (sound.sample_rate_hz, sound.channels)
        for piece in _without_padding(_pieces(path, container, stream, form, notes), sound.frames):
            collected.append(piece)
            held += len(piece)
            while held >= block_frames:
                whole = np.concatenate(collected)
                yield whole[:block_frames]
                collected, held = [whole[block_frames:]], held - block_frames
        if held:
            yield np.concatenate(collected)


@contextmanager
def _opened(path: Path, demuxer: str) -> Iterator[tuple["InputContainer", "AudioStream"]]:
    try:
        import av
    except ImportError as error:
        raise RecordingError(
            f"{path}: is a phone's recording ({_CONTAINERS[demuxer]}), which needs an extra library.",
            remedy="Install it with: pip install 'sleepnoise[phone]'. Or export the recording as WAV.",
        ) from error
    with path.open("rb") as file:
        try:
            container = av.open(file, "r", format=demuxer, buffer_size=READ_BYTES)
        except (av.FFmpegError, ValueError) as error:
            raise _unreadable(path, "its index is missing or damaged") from error
        with container:
            if not container.streams.audio:
                raise _unreadable(path, "there is no sound in it")
            stream = container.streams.audio[0]
            if stream.codec_context is None:
                raise _unreadable(path, "its coding is not known here")
            yield container, stream


def _unreadable(path: Path, reason: str) -> RecordingError:
    return RecordingError(
        f"{path}: cannot be decoded: {reason}.",
        remedy="If the app was stopped while recording, open the file in it once, so that it can repair it, "
        "and copy it again.",
    )


def _stated_seconds(container: "InputContainer", stream: "AudioStream") -> float | None:
    """Return the length that an index states, s; AMR and AAC have none, and a guess would be made up."""
    if container.format.name in ("amr", "aac"):
        return None
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    return container.duration / 1_000_000 if container.duration else None


def _counted_frames(path: Path, demuxer: str, rate_hz: int) -> int:
    """Return the length as the packets tell it, without decoding them; decoding tells of damage."""
    from av import FFmpegError

    end_s = start_s = None
    with _opened(path, demuxer) as (container, stream), suppress(FFmpegError):
        for packet in container.demux(stream):
            if packet.pts is not None and packet.duration is not None:
                begin = packet.pts * packet.time_base
                start_s = begin if start_s is None else start_s
                end_s = begin + packet.duration * packet.time_base
    return 0 if end_s is None or start_s is None else round((end_s - start_s) * rate_hz)


def _decoder(stream: "AudioStream") -> "AudioCodecContext":
    """Return the decoder of a stream; of two for AMR, the one that keeps levels."""
    from av import CodecContext, codecs_available

    name = _BETTER_DECODERS.get(stream.codec_context.name, "")
    if name not in codecs_available:
        return stream.codec_context
    decoder = cast("AudioCodecContext", CodecContext.create(name, "r"))
    decoder.sample_rate, decoder.layout = stream.codec_context.sample_rate, "mono"
    return decoder


def _frames(path: Path, container: "InputContainer", stream: "AudioStream") -> Iterator["AudioFrame"]:
    """Decode packet by packet; a bad one is allowed only at the end, where a file was cut short."""
    from av import FFmpegError

    decoder = _decoder(stream)
    failure: Exception | None = None
    done_s, reached = 0.0, 0
    try:
        for packet in container.demux(stream):
            reached = max(reached, (packet.pos or 0) + packet.size)
            try:
                frames = decoder.decode(packet if packet.size else None)
            except FFmpegError as error:
                failure = failure or error
                continue
            if frames and failure is not None:
                break
            for frame in frames:
                done_s += frame.samples / frame.sample_rate
                yield frame
        else:
            failure = None
    except FFmpegError as error:
        # Half a packet at the very end is a recording that was cut short.
        failure = error if path.stat().st_size - reached > LONGEST_PACKET_BYTES else None
    if failure is not None:
        raise RecordingError(
            f"{path}: is damaged at {done_s:.3f} s.",
            remedy="Copy the file from the phone again; if that does not help, use another recording.",
        ) from failure


def _pieces(
    path: Path, container: "InputContainer", stream: "AudioStream", form: tuple[int, int], notes: list[str]
) -> Iterator[FrameArray]:
    """Yield the decoded frames as arrays, with silence where their time stamps have a hole."""
    rate_hz, channels = form
    convert = _Converter(channels)
    expected_s: float | None = None
    done = 0
    for frame in _frames(path, container, stream):
        if (frame.sample_rate, frame.layout.nb_channels) != form:
            raise RecordingError(
                f"{path}: sampling rate or channels change at {done / rate_hz:.3f} s.",
                remedy="Export the recording as WAV.",
            )
        hole_s = 0.0 if expected_s is None or frame.time is None else frame.time - expected_s
        if JUMP_S < hole_s < LONGEST_HOLE_S:
            notes.append(f"a hole of {hole_s:.3f} s at {done / rate_hz:.3f} s, filled with silence")
            for silence in _silence(round(hole_s * rate_hz), channels):
                done += len(silence)
                yield silence
        piece = convert(frame)
        done += len(piece)
        if frame.time is not None:
            expected_s = frame.time + frame.samples / frame.sample_rate
        yield piece


def _without_padding(pieces: Iterator[FrameArray], stated: int) -> Iterator[FrameArray]:
    """Leave out what fills the last packet up beyond the length that the file states."""
    left, beyond, held = stated, list[FrameArray](), 0
    for piece in pieces:
        keep = piece[:left]
        left -= len(keep)
        if len(keep):
            yield keep
        if len(keep) == len(piece):
            continue
        beyond.append(piece[len(keep) :])
        held += len(beyond[-1])
        if held > PADDING_FRAMES:
            yield from beyond
            beyond = []


def _silence(frames: int, channels: int) -> Iterator[FrameArray]:
    for done in range(0, frames, READ_BYTES):
        yield np.zeros((min(READ_BYTES, frames - done), channels), dtype=np.float32)


class _Converter:
    """Turns decoded frames into float arrays, shape (frames, channels)."""

    def __init__(self, channels: int) -> None:
        from av.audio.resampler import AudioResampler

        self._channels = channels
        self._resampler = AudioResampler(format="fltp")

    def __call__(self, frame: "AudioFrame") -> FrameArray:
        if frame.format.name == "fltp":
            return frame.to_ndarray().astype(np.float32, copy=False).T
        parts = [np.empty((self._channels, 0)), *(p.to_ndarray() for p in self._resampler.resample(frame))]
        return np.concatenate(parts, axis=1, dtype=np.float32).T
