"""What lies below the decoder: the bytes of a file with a header that is right, and where they end.

FLAC, Ogg, AIFF, W64 and CAF each have their own way of telling, at the beginning or at the end,
how much sound there should be. What is found missing is said; what is there is read.
"""

import io
import os
import struct
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from sleepnoise.acoustics.source import Source
from sleepnoise.formats.flac import flac_sound
from sleepnoise.formats.riff import OPEN, SoundPlace, riff_sound

RFC_3533 = Source(document="RFC 3533 (Ogg)", place="6, page header", how_known="memory")

CAF_FORMAT = Source(
    document="Core Audio Format specification, version 1", place="audio data chunk", how_known="memory"
)

READ_AHEAD_BYTES = 2**18
"""Bytes fetched from disk at once. Chosen: the decoder asks for 8 KiB, which costs a quarter more time."""

OGG_PAGE_BYTES = 65_307
"""Longest page, bytes. Source: RFC_3533."""

CAF_MOST_CHUNKS = 100
"""Chunks of a CAF file looked at before the sound. Chosen: ten times what writers put there."""

UNKNOWN_SIZE = -1
"""A size of the sound in CAF that means: up to the end of the file. Source: CAF_FORMAT."""

FARTHEST_BYTES = 2**62
"""Farthest place that may be sought. Chosen: beyond any file; sums with a 63-bit offset still fit."""

OGG_FLAGS_OFFSET = 5
"""Where the flags of a page are, bytes from its beginning. Source: RFC_3533."""

OGG_LAST_PAGE = 0x04
"""Flag of the last page of a stream. Source: RFC_3533."""

OGG_SERIAL = slice(14, 18)
"""Where the number of a stream is in the header of its pages. Source: RFC_3533."""

OGG_CHAINED = "holds more than one stream of sound: only the first was read"
OGG_OPEN = "not closed properly: its last page is missing; nothing tells how much sound that was"


class KeptFile(io.FileIO):
    """A file that keeps its read error: a decoder would take it for the end of the file."""

    failure: OSError | None = None

    def readinto(self, buffer: memoryview) -> int | None:  # type: ignore[override]
        """Read; after an error, which is kept, as if the file had ended."""
        try:
            return super().readinto(buffer)
        except OSError as error:
            self.failure = error
            return 0


class Spliced(io.RawIOBase):
    """A header of our own, if any, in front of a stretch of a file, as if it were one file."""

    def __init__(self, file: KeptFile, place: SoundPlace) -> None:
        self._file, self._place = file, place
        self._length = len(place.header) + place.size
        self._at = 0

    def readable(self) -> bool:
        """Say yes."""
        return True

    def seekable(self) -> bool:
        """Say yes."""
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a place and return it."""
        origin = {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._length}[whence]
        # Broken headers send a decoder anywhere; what is too far for the system is behind the end as well.
        self._at = min(max(origin + offset, 0), FARTHEST_BYTES)
        return self._at

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        """Read from the header or from the file, whichever lies here."""
        header = self._place.header
        if self._at < len(header):
            part = header[self._at : self._at + len(buffer)]
            buffer[: len(part)] = part
            self._at += len(part)
            return len(part)
        wanted = min(len(buffer), self._length - self._at)
        if wanted <= 0:
            return 0
        self._file.seek(self._place.place + self._at - len(header))
        got = self._file.readinto(memoryview(buffer)[:wanted]) or 0
        self._at += got
        return got

    def close(self) -> None:
        """Close the file too."""
        self._file.close()
        super().close()


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundBytes:
    """An open file for a decoder.

    Attributes
    ----------
    stream : buffered binary file
        Closing it closes everything.
    file : KeptFile
        What lies below.
    kind : str
        ``"RIFF"``, ``"RF64"``, ``"BW64"``, ``"CAF"`` or ``"FLAC"`` if the decoder is given a
        header of our own; else empty.
    finding : str
        What is to be said of the file's end; empty if nothing.
    missing_share : float
        Sound that the header counts and the file lacks, by that in the file.
    """

    stream: BinaryIO
    file: KeptFile
    kind: str
    finding: str
    missing_share: float


def open_bytes(path: Path) -> SoundBytes:
    """Open a sound file for a decoder, with a right header if the format is known to need it.

    Parameters
    ----------
    path : Path

    Returns
    -------
    SoundBytes

    Raises
    ------
    OSError
        If the file cannot be opened.
    """
    with ExitStack() as on_error:
        file = on_error.enter_context(KeptFile(path))
        found = _found(file)
        # From here on, whoever holds the stream closes the file.
        on_error.pop_all()
    return found


def _found(file: KeptFile) -> SoundBytes:
    plain = io.BufferedReader(file, READ_AHEAD_BYTES)
    place = riff_sound(plain) or _caf_sound(plain) or flac_sound(plain)
    if place is None:
        place = SoundPlace(
            kind="",
            header=b"",
            place=0,
            size=_length(plain),
            finding=_ogg_finding(plain),
            missing_share=_missing_share(plain),
        )
    plain.detach()
    return SoundBytes(
        stream=io.BufferedReader(Spliced(file, place), READ_AHEAD_BYTES),
        file=file,
        kind=place.kind,
        finding=place.finding,
        missing_share=place.missing_share,
    )


def _length(stream: BinaryIO) -> int:
    return stream.seek(0, os.SEEK_END)


def _bytes_at(stream: BinaryIO, place: int, count: int) -> bytes:
    stream.seek(place)
    return stream.read(count)


def _caf_sound(stream: BinaryIO) -> SoundPlace | None:
    """Return where the linear samples of a CAF file lie that was cut short or not closed; else None."""
    if _bytes_at(stream, 0, 4) != b"caff":
        return None
    length, place, description = _length(stream), 8, b""
    for _ in range(CAF_MOST_CHUNKS):
        header = _bytes_at(stream, place, 12)
        if len(header) < 12:
            return None
        size = int.from_bytes(header[4:], "big", signed=True)
        place += 12
        if header[:4] == b"desc":
            description = _bytes_at(stream, place, 32)
        if header[:4] == b"data":
            return _caf_place(description, place, size, length)
        place += size
        if size < 0 or place > length:
            return None
    return None


def _caf_place(description: bytes, place: int, stated: int, length: int) -> SoundPlace | None:
    # The sound begins behind a count of edits of 4 bytes.
    there = length - place
    if description[8:12] != b"lpcm" or there < 4 or 0 <= stated <= there:
        return None
    header = b"caff" + struct.pack(">HH", 1, 0) + b"desc" + struct.pack(">q", len(description)) + description
    return SoundPlace(
        kind="CAF",
        header=header + b"data" + struct.pack(">q", there),
        place=place,
        size=there,
        finding=OPEN if stated == UNKNOWN_SIZE else "",
        missing_share=0.0 if stated == UNKNOWN_SIZE else (stated - there) / there,
    )


def _missing_share(stream: BinaryIO) -> float:
    """Return by how much an AIFF or W64 file is shorter than its outermost chunk says; else 0."""
    length, beginning = _length(stream), _bytes_at(stream, 0, 24)
    stated = 0
    if beginning[:4] == b"FORM" and beginning[8:12] in (b"AIFF", b"AIFC"):
        stated = 8 + int.from_bytes(beginning[4:8], "big")
    elif beginning[:4] == b"riff":
        stated = int.from_bytes(beginning[16:24], "little")
    return max(stated - length, 0) / max(length, 1)


def _ogg_finding(stream: BinaryIO) -> str:
    """Return what is to be said of the end of an Ogg file; empty of a whole one, and of other files."""
    first = _bytes_at(stream, 0, OGG_SERIAL.stop)
    if first[:4] != b"OggS":
        return ""
    ending = _bytes_at(stream, max(_length(stream) - 2 * OGG_PAGE_BYTES, 0), 2 * OGG_PAGE_BYTES)
    last = ending[max(ending.rfind(b"OggS\0"), 0) :]
    flags = last[OGG_FLAGS_OFFSET : OGG_FLAGS_OFFSET + 1]
    if len(last) >= OGG_SERIAL.stop and last[OGG_SERIAL] != first[OGG_SERIAL]:
        return OGG_CHAINED
    return OGG_OPEN if not flags or not flags[0] & OGG_LAST_PAGE else ""
