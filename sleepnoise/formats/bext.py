"""The broadcast extension of a WAV file: when its recorder says that the recording began."""

import re
import struct
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from sleepnoise.acoustics.source import Source
from sleepnoise.formats.riff import riff_chunks

EBU_TECH_3285 = Source(
    document="EBU Tech 3285 (Broadcast Wave Format)", place="bext chunk, layout", how_known="looked-up"
)
ORIGINATION_OFFSET = 320
"""Where OriginationDate begins in the chunk, bytes. Source: EBU_TECH_3285."""

ORIGINATION_LAYOUT = struct.Struct("<10s8sQ")
"""OriginationDate, OriginationTime, TimeReference (low half first). Source: EBU_TECH_3285."""

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
            for chunk in riff_chunks(stream):
                if chunk.name == b"bext":
                    return _origination(stream, chunk.place, chunk.size)
    except (OSError, ValueError):
        # Whoever reads the sound will run into the same error, and says more about it.
        return None
    return None


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
