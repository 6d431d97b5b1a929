"""Chunks of WAV, RF64 and BW64 files, and where their sound lies, whatever the header says.

A recorder that loses power leaves sizes of 0, placeholders or the sizes of a minute ago; 32-bit
sizes wrap past 4 GiB. So the size of the sound is believed only if what lies behind it is nothing,
or a chain of chunks that ends where the file (or the outermost chunk) ends. Otherwise the sound
reaches to the end of the file. Only headers and the few bytes wanted are read, and nothing in
them is believed before it has been compared with the length of the file.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from sleepnoise.acoustics.source import Source

EBU_TECH_3306 = Source(
    document="EBU Tech 3306 (RF64), today ITU-R BS.2088 (BW64)", place="ds64 chunk", how_known="looked-up"
)

SIZE_ELSEWHERE = 0xFFFFFFFF
"""A 32-bit size that says: look into ds64. Source: EBU_TECH_3306."""

DS64_LAYOUT = struct.Struct("<QQQI")
"""riffSize, dataSize, sampleCount, length of a table (none here). Source: EBU_TECH_3306."""

MOST_CHUNKS = 1000
"""Chunks looked at before giving up. Chosen: recorders write about ten; garbage can pretend to any number."""

PLACEHOLDER_BYTES = 2**16
"""A size so close below 2 or 4 GiB is a placeholder. Chosen: writers that cannot know the length
state the largest size there is, some of them less their header."""

SLACK_BYTES = 2**16
"""Bytes behind a file whose sizes agree that may be leftovers. Chosen: the largest unit in which
memory cards are handed out to small files; less than a second of sound."""

LARGEST_FORM_BYTES = 4096
"""Longest format chunk believed. Chosen: the longest in use has 40 bytes, tables of coders a few hundred."""

OPEN = "not closed properly: its header does not tell the length, which was taken from the file"
WRAPPED = "longer than its header can count: its length was taken from the file"
STALE = "not closed properly: its header counts less than the file holds; the length was taken from the file"
SLACK = "bytes behind the end of the sound were left out"


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """One chunk, as far as it lies within the file.

    Attributes
    ----------
    name : bytes
    place, size : int
        Of its content, in bytes; of sound, repaired.
    finding : str
        What is to be said of its size; empty if that was right.
    missing : int
        Bytes of sound that the header counts and the file lacks.
    """

    name: bytes
    place: int
    size: int
    finding: str = ""
    missing: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundPlace:
    """Where the sound of a file lies, and the header that it should have had.

    Attributes
    ----------
    kind : str
        ``"RIFF"``, ``"RF64"``, ``"BW64"``, ``"CAF"`` or ``"FLAC"``; empty for a file taken as it is.
    header : bytes
        With it put before the sound, any decoder finds the right length.
    place, size : int
        Of the sound, in bytes.
    finding : str
        What is to be said of the size; empty if that was right.
    missing_share : float
        Sound that the header counts and the file lacks, by that in the file.
    """

    kind: str
    header: bytes
    place: int
    size: int
    finding: str
    missing_share: float


@dataclass(frozen=True, slots=True)
class _Frame:
    """What the outermost chunk and ds64 say, and how long the file is."""

    length: int
    riff_end: int
    large_size: int | None

    def ends(self, place: int, chunks: int) -> bool:
        """Whether a chain of so many chunks behind the sound may end at a place."""
        if place <= self.length:
            # Fewer bytes than a chunk's header are a pad, forgotten or too many.
            return self.length - place < 8 or (chunks > 0 and self._at_riff_end(place))
        return self._at_riff_end(place)

    def _at_riff_end(self, place: int) -> bool:
        return place - 1 <= self.riff_end <= place


def riff_chunks(stream: BinaryIO) -> Iterator[Chunk]:
    """Yield the chunks of a WAV, RF64 or BW64 file as far as they lie within it; of other files, none.

    Parameters
    ----------
    stream : binary file
        Moved about between two chunks.
    """
    length = stream.seek(0, 2)
    beginning = _bytes_at(stream, 0, 12)
    if beginning[:4] not in (b"RIFF", b"RF64", b"BW64") or beginning[8:] != b"WAVE":
        return
    frame = _Frame(length, 8 + int.from_bytes(beginning[4:8], "little"), None)
    place = 12
    for _ in range(MOST_CHUNKS):
        header = _bytes_at(stream, place, 8)
        if len(header) < 8:
            return
        name, size = header[:4], int.from_bytes(header[4:], "little")
        place += 8
        if name == b"ds64":
            frame = _with_large_sizes(frame, _bytes_at(stream, place, DS64_LAYOUT.size))
        if name == b"data":
            chunk = _sound_chunk(stream, place, size, frame)
        else:
            chunk = Chunk(name=name, place=place, size=min(size, length - place))
        yield chunk
        # Chunks begin at even places.
        place += chunk.size + chunk.size % 2


def riff_sound(stream: BinaryIO) -> SoundPlace | None:
    """Return where the sound of a WAV, RF64 or BW64 file lies; None if the file is of another kind.

    Parameters
    ----------
    stream : binary file
    """
    form = None
    for chunk in riff_chunks(stream):
        if chunk.name == b"fmt " and 16 <= chunk.size <= LARGEST_FORM_BYTES:
            form = _bytes_at(stream, chunk.place, chunk.size)
        if chunk.name == b"data" and form is not None:
            return SoundPlace(
                kind=_bytes_at(stream, 0, 4).decode("ascii"),
                header=_header(form, chunk.size),
                place=chunk.place,
                size=chunk.size,
                finding=chunk.finding,
                missing_share=chunk.missing / max(chunk.size, 1),
            )
    return None


def _bytes_at(stream: BinaryIO, place: int, count: int) -> bytes:
    stream.seek(place)
    return stream.read(count)


def _with_large_sizes(frame: _Frame, beginning: bytes) -> _Frame:
    if len(beginning) < DS64_LAYOUT.size:
        return frame
    riff_size, data_size, *_ = DS64_LAYOUT.unpack(beginning)
    elsewhere = frame.riff_end == 8 + SIZE_ELSEWHERE
    return _Frame(frame.length, 8 + riff_size if elsewhere else frame.riff_end, data_size)


def _sound_chunk(stream: BinaryIO, place: int, stated: int, frame: _Frame) -> Chunk:
    if stated == SIZE_ELSEWHERE and frame.large_size is not None:
        stated = frame.large_size
    there = frame.length - place
    for size in _possible_sizes(stated, frame.large_size, there):
        if _chain_ends(stream, place + size, frame):
            finding = "" if size == stated else WRAPPED
            return Chunk(name=b"data", place=place, size=size, finding=finding)
    if 0 < stated < there and _is_leftover(stream, place + stated, frame):
        finding = f"{there - stated} {SLACK}"
        return Chunk(name=b"data", place=place, size=stated, finding=finding)
    if stated == 0 or _is_placeholder(stated):
        return Chunk(name=b"data", place=place, size=there, finding=OPEN)
    if stated < there:
        return Chunk(name=b"data", place=place, size=there, finding=STALE)
    return Chunk(name=b"data", place=place, size=there, missing=stated - there)


def _possible_sizes(stated: int, large: int | None, there: int) -> Iterator[int]:
    """Yield the size stated, the large one and those that a 32-bit count may stand for."""
    if stated <= there:
        yield stated
    if large is not None and large <= there:
        yield large
    if stated < SIZE_ELSEWHERE:
        yield from range(stated + 2**32, there + 1, 2**32)


def _chain_ends(stream: BinaryIO, end: int, frame: _Frame) -> bool:
    """Whether nothing lies behind the sound, or chunks up to the end; some writers forget the pad."""
    return any(_chain_ends_from(stream, place, frame) for place in {end, end + end % 2})


def _chain_ends_from(stream: BinaryIO, place: int, frame: _Frame) -> bool:
    for chunks in range(MOST_CHUNKS):
        if frame.ends(place, chunks):
            return True
        header = _bytes_at(stream, place, 8)
        if len(header) < 8 or not all(32 <= letter < 127 for letter in header[:4]):
            return False
        size = int.from_bytes(header[4:], "little")
        place += 8 + size + size % 2
    return False


def _is_leftover(stream: BinaryIO, end: int, frame: _Frame) -> bool:
    """Whether the file was closed properly and what follows is room that was never used."""
    if end <= frame.riff_end <= end + 1 and frame.length - end <= SLACK_BYTES:
        return True
    stream.seek(end)
    while piece := stream.read(2**20):
        if piece.count(0) < len(piece):
            return False
    return True


def _is_placeholder(size: int) -> bool:
    return any(0 <= limit - size < PLACEHOLDER_BYTES for limit in (2**31, 2**32))


def _header(form: bytes, size: int) -> bytes:
    """Return a RIFF header for sound of a size, or an RF64 header if it takes one."""
    form_chunk = b"fmt " + struct.pack("<I", len(form)) + form + bytes(len(form) % 2)
    riff_size = 4 + len(form_chunk) + 8 + size + size % 2
    if riff_size < SIZE_ELSEWHERE - PLACEHOLDER_BYTES:
        return (
            b"RIFF" + struct.pack("<I", riff_size) + b"WAVE" + form_chunk + b"data" + struct.pack("<I", size)
        )
    frame_bytes = max(int.from_bytes(form[12:14], "little"), 1)
    large = DS64_LAYOUT.pack(riff_size + 8 + DS64_LAYOUT.size, size, size // frame_bytes, 0)
    elsewhere = struct.pack("<I", SIZE_ELSEWHERE)
    return (
        b"RF64" + elsewhere + b"WAVE" + b"ds64" + struct.pack("<I", len(large)) + large
        + form_chunk + b"data" + elsewhere
    )  # fmt: skip
