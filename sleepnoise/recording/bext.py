"""The broadcast extension of a WAV file: when its recorder says that the recording began.

Only chunk headers and the few bytes wanted are read, whatever the file's size, and nothing in
them is believed before it has been compared with the length of the file.
"""

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from sleepnoise.acoustics.source import Source

EBU_TECH_3285 = Source(
    document="EBU Tech 3285 (Broadcast Wave Format)", place="bext chunk, layout", how_known="looked-up"
)
EBU_TECH_3306 = Source(
    document="EBU Tech 3306 (RF64), today ITU-R BS.2088 (BW64)", place="ds64 chunk", how_known="looked-up"
)

ORIGINATION_OFFSET = 320
"""Where OriginationDate begins in the chunk, bytes. Source: EBU_TECH_3285."""

ORIGINATION_LAYOUT = struct.Struct("<10s8sQ")
"""OriginationDate, OriginationTime, TimeReference (low half first). Source: EBU_TECH_3285."""

SIZE_ELSEWHERE = 0xFFFFFFFF
"""A 32-bit size that says: look into ds64. Source: EBU_TECH_3306."""

DS64_LAYOUT = struct.Struct("<QQ")
"""riffSize, dataSize: how the ds64 chunk begins. Source: EBU_TECH_3306."""

MOST_CHUNKS = 1000
"""Chunks looked at before giving up. Chosen: recorders write about ten; garbage can pretend to any number."""

# Writers disagree on the separators (- : . _ space), so any single non-digit will do.
_DATE = re.compile(rb"(\d{4})\D(\d\d)\D(\d\d)")
_TIME = re.compile(rb"(\d\d)\D(\d\d)\D(\d\d)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Origination:
    """What a bext chunk says of the beginning.

    Attributes
    ----------
    local : datetime
        Date and time as the recorder's clock showed them; the format has no zone.
    time_reference : int
        Samples since midnight; 0 where a writer did not care.
    """

    local: datetime
    time_reference: int


def read_origination(path: Path) -> Origination | None:
    """Return what the bext chunk of a WAV, RF64 or BW64 file says of its beginning.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Origination or None
        None if there is no such chunk, the file is of another kind or cannot be read, or its
        date or time is left empty or impossible.
    """
    try:
        with path.open("rb") as stream:
            for name, place, size in _chunks(stream):
                if name == b"bext":
                    return _origination(stream, place, size)
    except (OSError, ValueError):
        # Whoever reads the sound will run into the same error, and says more about it.
        return None
    return None


def _chunks(stream: BinaryIO) -> Iterator[tuple[bytes, int, int]]:
    """Yield name, place and size of the chunks of a WAV file as far as they lie within it."""
    length = stream.seek(0, 2)
    stream.seek(0)
    kind = stream.read(12)
    if kind[:4] not in (b"RIFF", b"RF64", b"BW64") or kind[8:] != b"WAVE":
        return
    place, data_size = 12, SIZE_ELSEWHERE
    for _ in range(MOST_CHUNKS):
        if place + 8 > length:
            return
        stream.seek(place)
        header = stream.read(8)
        name, size = header[:4], int.from_bytes(header[4:], "little")
        if name == b"ds64":
            data_size = _ds64_data_size(stream.read(DS64_LAYOUT.size))
        elif name == b"data" and size == SIZE_ELSEWHERE:
            size = data_size
        yield name, place + 8, min(size, length - place - 8)
        # Chunks begin at even places.
        place += 8 + size + size % 2


def _ds64_data_size(beginning: bytes) -> int:
    if len(beginning) < DS64_LAYOUT.size:
        return SIZE_ELSEWHERE
    return int(DS64_LAYOUT.unpack(beginning)[1])


def _origination(stream: BinaryIO, place: int, size: int) -> Origination | None:
    if size < ORIGINATION_OFFSET + ORIGINATION_LAYOUT.size:
        return None
    stream.seek(place + ORIGINATION_OFFSET)
    date, time, time_reference = ORIGINATION_LAYOUT.unpack(stream.read(ORIGINATION_LAYOUT.size))
    date_match, time_match = _DATE.fullmatch(date), _TIME.fullmatch(time)
    if date_match is None or time_match is None:
        return None
    try:
        local = datetime(*map(int, date_match.groups() + time_match.groups()))  # type: ignore[arg-type]
    except ValueError:
        return None
    return Origination(local=local, time_reference=time_reference)
