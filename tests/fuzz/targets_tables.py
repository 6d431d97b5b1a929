"""What reads tables: level logs, responses, pairs of levels, kept calibrations."""

import atexit
import io
import os
import shutil
import tempfile
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from sleepnoise.calibration.kept import calibration_text, read_calibration
from sleepnoise.calibration.microphone import read_microphone_response
from sleepnoise.calibration.reference_meter import LevelPair, calibration_from_reference, read_level_pairs
from sleepnoise.logs.level_log import read_level_log
from sleepnoise.logs.log_mapping import mapping_of, read_log_mapping

FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-tables-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
STAMPS = [datetime(2026, 3, 29, 1, 59, 50) + timedelta(seconds=second) for second in (0, 1, 2, 4, 5)]
"""Ten seconds before clocks skip an hour."""


def _file(name: str, data: bytes) -> Path:
    path = FOLDER / name
    path.write_bytes(data)
    return path


def level_pairs(data: bytes) -> None:
    calibration_from_reference(read_level_pairs(_file("pairs.csv", data)))


def pair_option(data: bytes) -> None:
    LevelPair.parse(os.fsdecode(data.replace(b"\0", b"")))


def microphone(data: bytes) -> None:
    read_microphone_response(_file("mic.txt", data), states="response").correction_db([20, 1000, 20_000])


def kept_calibration(data: bytes) -> None:
    calibration_text(read_calibration(_file("kept.toml", data)))


def log(data: bytes) -> None:
    """Read a log whose first line is its mapping."""
    options, _, table = data.partition(b"\n")
    mapping = read_log_mapping(os.fsdecode(options.replace(b"\0", b"")).split("&"))
    read_level_log(_file("log.csv", table), mapping, zone="Europe/Vienna")


def parquet_log(data: bytes) -> None:
    mapping = mapping_of({"time": "time", "laeq": "laeq", "bands": "L{hz}"})
    read_level_log(_file("log.parquet", data), mapping, zone="Europe/Vienna")


def log_mapping(data: bytes) -> None:
    read_log_mapping(path=_file("mapping.toml", data))


def _logs() -> list[bytes]:
    rows = [(stamp, f"{30 + number}.5") for number, stamp in enumerate(STAMPS)]
    plain = "time=t&laeq=#2&clock=+01:00\nt,L\n,dB\n" + "".join(f"{stamp},{level}\n" for stamp, level in rows)
    comma = (
        "date=d&time=t&time_format=%d.%m.%Y %H:%M:%S&laeq=L&50=b&decimal=,&clock=UTC\nd;t;L;b\n"
        + "".join(f"{stamp:%d.%m.%Y;%H:%M:%S};{level.replace('.', ',')};---\n" for stamp, level in rows)
    )
    offset = "time=t&laeq=L&encoding=utf-16\nt\tL\n" + "".join(f"{s}+01:00\t{level}\n" for s, level in rows)
    counted = "start=2026-03-05T23:00:00&step_s=1&laeq=#1&separator=tab\n1.5\n2.5\n-inf\n"
    head, _, rest = offset.partition("\n")
    return [
        plain.encode(),
        comma.encode("cp1252"),
        f"{head}\n".encode() + rest.encode("utf-16"),
        counted.encode(),
    ]


def _parquet() -> list[bytes]:
    levels = pa.array([30.5, 31.0, None, 33.0, 34.0])
    seeds = []
    for stamps in (pa.array(STAMPS, pa.timestamp("us")), pa.array(map(str, STAMPS)).dictionary_encode()):
        for compression in ("none", "snappy"):
            out = io.BytesIO()
            table = pa.table(
                {"time": stamps, "laeq": levels, "L50": levels, "L63": levels.cast(pa.float32())}
            )
            pq.write_table(table, out, compression=compression)
            seeds.append(out.getvalue())
    return seeds


def _kept() -> list[bytes]:
    return [
        b'kind = "calibration"\nversion = 1\nmade_on = 2026-02-10\nvalid_until = 2026-03-10\nrecorder = "r"\n'
        b'microphone = "m"\ngain = "40 dB"\npascal_per_full_scale = 1.42\nfrequency_hz = 1000.0\n'
        b'origin = "o"\nremarks = []\n[response]\norigin = "o"\nfrequency_hz = [20.0, 1000.0]\n'
        b'response_db = [0.0, 1.0]\n[[uncertainty]]\nwhat = "w"\nstandard_db = 1.5\nbasis = "b"\n'
    ]


TARGETS: dict[str, Callable[[bytes], None]] = {
    "level-pairs": level_pairs,
    "pair-option": pair_option,
    "microphone": microphone,
    "kept-calibration": kept_calibration,
    "log": log,
    "parquet-log": parquet_log,
    "log-mapping": log_mapping,
}
SEEDS: dict[str, Callable[[], list[bytes]]] = {
    "level-pairs": lambda: [
        b"reference_db,recorder_db\n" + b"".join(b"%d,%d.5\n" % (db, db - 94) for db in (40, 50, 60, 70, 80))
    ],
    "pair-option": lambda: [b"62.1=-31.4", "62.1=\u221231.4".encode()],
    "microphone": lambda: [b"Hz\tdB\n20\t-1,5\n1000\t0,0\n20000\t3,1\n", b"# x\n20 -1.5 3\n1e3 0 0\n2e4 1 1"],
    "kept-calibration": _kept,
    "log": _logs,
    "parquet-log": _parquet,
    "log-mapping": lambda: [b'time = "t"\nlaeq = "L"\n"31.5" = "B"\nstep_s = 1\nclock = "+01:00"\n'],
}
