"""The length of FLAC files: read off the last frame where the header does not know it or is wrong."""

from typing import BinaryIO

from sleepnoise.acoustics.source import Source
from sleepnoise.formats.riff import OPEN, STALE, SoundPlace

RFC_9639 = Source(document="RFC 9639 (FLAC)", place="8.2 STREAMINFO, 9.1 frame header", how_known="memory")

HEADER_BYTES = 26
"""Beginning of a file up to the end of its count of samples. Source: RFC_9639."""

COUNT_BITS = 36
"""Bits of that count, the last ones. Source: RFC_9639."""

SYNC = (b"\xff\xf8", b"\xff\xf9")

SEARCH_BYTES = 2**20
"""Bytes at the end in which the last frame is looked for. Chosen: two of the
largest frames of four channels."""

MOST_BLOCKS = 128
"""Blocks of metadata looked at. Chosen: writers put fewer than ten; garbage can pretend to any number."""


def flac_sound(stream: BinaryIO) -> SoundPlace | None:
    """Return a FLAC file with the right count of samples; None if it has that, or is no FLAC file.

    Parameters
    ----------
    stream : binary file

    Notes
    -----
    A frame that was cut off is counted: only decoding tells whether it is whole.
    """
    header = _bytes_at(stream, 0, HEADER_BYTES)
    found = last_sample(stream)
    stated = int.from_bytes(header, "big") & (1 << COUNT_BITS) - 1
    if found is None or found == stated or found >= 1 << COUNT_BITS:
        return None
    counted = int.from_bytes(header, "big") - stated + found
    return SoundPlace(
        kind="FLAC",
        header=counted.to_bytes(HEADER_BYTES, "big"),
        place=HEADER_BYTES,
        size=stream.seek(0, 2) - HEADER_BYTES,
        finding=OPEN if stated == 0 else STALE if stated < found else "",
        missing_share=max(stated - found, 0) / found,
    )


def last_sample(stream: BinaryIO) -> int | None:
    """Return where the last frame of a FLAC file ends that has at least its header in the file.

    Parameters
    ----------
    stream : binary file

    Returns
    -------
    int or None
        Samples in each channel up to there; None if no frame was found.
    """
    first = _first_frame(stream)
    if first is None:
        return None
    alike, fixed_size = _bytes_at(stream, first, 4), int.from_bytes(_bytes_at(stream, 8, 2), "big")
    if alike[:2] not in SYNC:
        return None
    begin = max(stream.seek(0, 2) - SEARCH_BYTES, first)
    ending = _bytes_at(stream, begin, SEARCH_BYTES)
    place = len(ending)
    while (place := ending.rfind(alike[:2], 0, place)) >= 0:
        end = _frame_end(ending[place : place + 16], alike, fixed_size)
        if end is not None:
            return end
    return None


def _first_frame(stream: BinaryIO) -> int | None:
    if _bytes_at(stream, 0, 4) != b"fLaC":
        return None
    place = 4
    for _ in range(MOST_BLOCKS):
        header = _bytes_at(stream, place, 4)
        if len(header) < 4:
            return None
        place += 4 + int.from_bytes(header[1:], "big")
        if header[0] & 0x80:
            return place
    return None


def _frame_end(header: bytes, alike: bytes, fixed_size: int) -> int | None:
    """Return the sample at which a frame ends, if these bytes are the header of one like the first."""
    if len(header) < 6 or (header[2] ^ alike[2]) & 0x0F or (header[3] ^ alike[3]) & 0x0F:
        return None
    number, place = _coded_number(header)
    size_code, rate_code = header[2] >> 4, header[2] & 0x0F
    size_bytes = {6: 1, 7: 2}.get(size_code, 0)
    rate_bytes = {12: 1, 13: 2, 14: 2}.get(rate_code, 0)
    check = place + size_bytes + rate_bytes
    if number is None or size_code == 0 or check >= len(header) or _crc_8(header[:check]) != header[check]:
        return None
    size = _block_size(size_code, header[place : place + size_bytes])
    # Frames of equal size are numbered, others tell the number of their first sample.
    return (number if header[1] & 1 else number * fixed_size) + size


def _block_size(code: int, coded: bytes) -> int:
    if coded:
        return int.from_bytes(coded, "big") + 1
    if code == 1:
        return 192
    return 576 << (code - 2) if code < 6 else 256 << (code - 8)


def _coded_number(header: bytes) -> tuple[int | None, int]:
    """Return the number coded like a character of UTF-8 from byte 4 on, and where it ends."""
    ones = next((bit for bit in range(8) if not header[4] << bit & 0x80), 8)
    if ones in (1, 8):
        return None, 5
    end = 5 + max(ones - 1, 0)
    number = header[4] & 0x7F >> ones
    for following in header[5:end]:
        if following >> 6 != 2:
            return None, end
        number = number << 6 | following & 0x3F
    return number, end


def _crc_8(data: bytes) -> int:
    rest = 0
    for byte in data:
        rest ^= byte
        for _ in range(8):
            rest = (rest << 1 ^ 0x07 if rest & 0x80 else rest << 1) & 0xFF
    return rest


def _bytes_at(stream: BinaryIO, place: int, count: int) -> bytes:
    stream.seek(place)
    return stream.read(count)
