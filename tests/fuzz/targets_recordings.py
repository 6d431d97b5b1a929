"""What reads the bytes of recordings and tables."""

import tempfile
from collections.abc import Callable
from pathlib import Path

from sleepnoise.calibration.kept import read_calibration
from sleepnoise.calibration.microphone import read_microphone_response
from sleepnoise.calibration.reference_meter import calibration_from_reference, read_level_pairs

FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-"))


def as_file(name: str, data: bytes) -> Path:
    path = FOLDER / name
    path.write_bytes(data)
    return path


def level_pairs(data: bytes) -> None:
    calibration_from_reference(read_level_pairs(as_file("pairs.csv", data)))


def microphone(data: bytes) -> None:
    read_microphone_response(as_file("mic.txt", data), states="response")


def kept_calibration(data: bytes) -> None:
    read_calibration(as_file("kept.toml", data))


def _kept() -> list[bytes]:
    return [
        b'kind = "calibration"\nversion = 1\nmade_on = 2026-02-10\nvalid_until = 2026-03-10\nrecorder = "r"\n'
        b'microphone = "m"\ngain = "40 dB"\npascal_per_full_scale = 1.42\nfrequency_hz = 1000.0\n'
        b'origin = "o"\nremarks = []\n[response]\norigin = "o"\nfrequency_hz = [20.0, 1000.0]\n'
        b'response_db = [0.0, 1.0]\n[[uncertainty]]\nwhat = "w"\nstandard_db = 1.5\nbasis = "b"\n'
    ]


TARGETS: dict[str, Callable[[bytes], None]] = {
    "level-pairs": level_pairs,
    "microphone": microphone,
    "kept-calibration": kept_calibration,
}
SEEDS: dict[str, Callable[[], list[bytes]]] = {
    "level-pairs": lambda: [
        b"reference_db,recorder_db\n" + b"".join(b"%d,%d.5\n" % (db, db - 94) for db in (40, 50, 60, 70, 80))
    ],
    "microphone": lambda: [  # One with commas, one with a third column.
        b"Hz\tdB\n20\t-1,5\n1000\t0,0\n20000\t3,1\n",
        b"# x\n20 -1.5 3\n1e3 0 0\n2e4 1 1\n",
    ],
    "kept-calibration": _kept,
}
