"""The work that is measured, one job in one process: ``python -m tests.benchmarks.work JOB FILE``.

Prints CPU seconds, wall seconds and peak MiB as JSON.
"""

import json
import resource
import sys
import time
from collections.abc import Callable
from contextlib import redirect_stdout
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import bilinear_zpk, butter, lfilter, sosfilt, zpk2sos

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_edges_hz
from sleepnoise.acoustics.decibels import pressure_level
from sleepnoise.acoustics.weighting import (
    A_LOWER_POLE_HZ,
    A_UPPER_POLE_HZ,
    HIGH_POLE_HZ,
    LOW_POLE_HZ,
)
from sleepnoise.isolation.paths import levels, path_levels_dba
from sleepnoise.isolation.treatments import treated_open_m2
from sleepnoise.levels.engine import level_history
from sleepnoise.levels.statistics import band_equivalent_levels, level_statistics
from sleepnoise.planning.optimum import find_optimum
from sleepnoise.planning.room_study import study_room
from sleepnoise.recording.audio_file import open_audio, read_blocks
from sleepnoise.recording.calibration import calibration_from_sensitivity
from tests.fixtures.plan_problems import invented_problem

RATE_HZ = 48_000
START = datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
CALIBRATION = calibration_from_sensitivity(117.0)
TICK = RATE_HZ // 8
ROOM_RUNS = 1000
PLAN_PARTS, PLAN_OPTIONS, PLAN_STEPS = 8, 4, 20


def write(file: Path, seconds: float, bits: int, *, knocks: bool = False) -> None:
    """Write pink noise of 40 dB: one minute of it, begun elsewhere each time it is repeated.

    With knocks, every fifth minute has one of 60 dB at its beginning: only with events are sounds heard
    again and grouped, which takes the most memory.
    """
    rng = np.random.default_rng(7)
    lines = np.fft.rfft(rng.standard_normal(60 * RATE_HZ))
    lines[1:] /= np.sqrt(np.arange(1, lines.size))
    lines[: 60 * 20] = 0.0
    minute = np.fft.irfft(lines)
    minute *= 20e-6 * 10 ** (40 / 20) / CALIBRATION.pascal_per_full_scale / minute.std()
    minute = minute.astype(np.float32)
    time_s = np.arange(RATE_HZ) / RATE_HZ
    knock = 20 * minute.std() * np.exp(-time_s / 0.1) * np.sin(2 * np.pi * 180 * time_s)
    with soundfile.SoundFile(file, "w", RATE_HZ, 1, f"PCM_{bits}") as stream:
        for start in range(0, round(seconds * RATE_HZ), minute.size):
            turned = np.roll(minute, int(rng.integers(minute.size)))
            if knocks and start // minute.size % 5 == 1:
                turned[: knock.size] += knock
            stream.write(turned[: round(seconds * RATE_HZ) - start])


def decode(file: Path) -> None:
    """Decode into one buffer, as fast as the library can."""
    buffer = np.empty(2**17, dtype=np.float32)
    with soundfile.SoundFile(file) as stream:
        while len(stream.read(out=buffer)) == buffer.size:
            pass


def analyse(file: Path, threads: int) -> None:
    """Do what an assessment does up to its statistics."""
    audio = open_audio(file)
    blocks = read_blocks(audio, CALIBRATION, START)
    history = level_history(blocks, threads=threads, expected_s=audio.seconds)
    level_statistics(history)
    band_equivalent_levels(history)


def assess(file: Path) -> None:
    """Run the main job as a user does, with all of its outputs."""
    from sleepnoise.cli.program import app

    options = ["--start", "2026-01-14T23:00", "--zone", "Europe/Vienna", "--full-scale-level", "117"]
    out = str(file.with_suffix(""))
    with redirect_stdout(sys.stderr):
        app(["assess", str(file), "--out", out, "--threads", "1", *options], standalone_mode=False)


class FilterBank:
    """The same levels from a bank of recursive filters in the time domain, written the plain way.

    A and C by the bilinear transform, Butterworth third octaves of eight poles at the full
    rate (which class 1 needs), F and S sample by sample, mean squares and extremes on 125 ms.
    """

    def __init__(self) -> None:
        lower_hz, upper_hz = band_edges_hz()
        edges = zip(lower_hz, np.minimum(upper_hz, 0.4999 * RATE_HZ), strict=True)
        low, high = [LOW_POLE_HZ] * 2, [HIGH_POLE_HZ] * 2
        filters = [
            _weighting([*low, A_LOWER_POLE_HZ, A_UPPER_POLE_HZ, *high], 4),
            _weighting([*low, *high], 2),
        ]
        filters += [butter(4, edge, "bandpass", fs=RATE_HZ, output="sos") for edge in edges]
        self._filters = filters
        self._states = [np.zeros((len(sos), 2)) for sos in filters]
        self._detectors = [np.exp(-1 / (RATE_HZ * constant_s)) for constant_s in (0.125, 1.0)]
        self._detected = [np.zeros(1) for _ in self._detectors]

    def levels(self, samples: np.ndarray) -> np.ndarray:
        """Return all rows for a whole number of ticks, shape (rows, ticks), dB."""
        rows = [self._squares(samples.astype(np.float64)).mean(axis=1)]
        for number, sos in enumerate(self._filters):
            sound, self._states[number] = sosfilt(sos, samples, zi=self._states[number])
            squares = self._squares(sound)
            rows.append(squares.mean(axis=1))
            if number == 0:
                rows += self._weighted_in_time(squares)
            if number == 1:
                rows.append(squares.max(axis=1))
        return pressure_level(np.stack(rows))

    @staticmethod
    def _squares(sound: np.ndarray) -> np.ndarray:
        return (sound**2).reshape(-1, TICK)

    def _weighted_in_time(self, squares: np.ndarray) -> list[np.ndarray]:
        rows = []
        for number, kept in enumerate(self._detectors):
            output, self._detected[number] = lfilter(
                [1 - kept], [1, -kept], squares.reshape(-1), zi=self._detected[number]
            )
            ticks = output.reshape(-1, TICK)
            rows += [ticks[:, -1], ticks.max(axis=1), ticks.min(axis=1)]
        return rows


def _weighting(poles_hz: list[float], zeros: int) -> np.ndarray:
    z, p, k = bilinear_zpk([0.0] * zeros, [-2 * np.pi * pole for pole in poles_hz], 1.0, fs=RATE_HZ)
    sos = zpk2sos(z, p, k)
    at_1_khz = np.exp(-2j * np.pi * 1000 / RATE_HZ * np.arange(3))
    gain = np.prod([(part[:3] @ at_1_khz) / (part[3:] @ at_1_khz) for part in sos])
    sos[0, :3] /= abs(gain)
    return sos


def bank(file: Path) -> None:
    """Decode and run the filter bank, some seconds at a time."""
    meter, rows = FilterBank(), []
    scale_pa = CALIBRATION.pascal_per_full_scale
    with soundfile.SoundFile(file) as stream:
        for block in stream.blocks(blocksize=16 * TICK, dtype="float32"):
            whole = block[: block.size // TICK * TICK] * scale_pa
            if whole.size:
                rows.append(meter.levels(whole))
    levels = np.concatenate(rows, axis=1)
    assert levels.shape[0] == len(NOMINAL_HZ) + 10
    np.percentile(levels[2], [1, 5, 10, 50, 90, 95, 99])


def room(file: Path) -> None:
    """Work out a room with all its paths, and one treatment of it, as often as a plan may ask."""
    study = study_room(file)
    now = study.advice.now
    for _ in range(ROOM_RUNS):
        for advice in study.advice.allowed[:1]:
            open_m2 = treated_open_m2(now.paths, [(advice.treatment, advice.part)])
            path_levels_dba(now.paths, open_m2, now.arriving)
        levels(now.paths, now.arriving)


def plan(events: int) -> None:
    """Find the best of 65,536 combinations with four maskers at twenty levels."""
    problem = invented_problem(
        7,
        events=events,
        sizes=(PLAN_OPTIONS,) * PLAN_PARTS,
        origins=3,
        shapes=("brown", "pink", "white", "falling-5-db"),
        events_allowed=events // 10,
        margin_db=12.0,
        masker_step_db=30.0 / (PLAN_STEPS - 1),
    )
    find_optimum(problem)


def _measured(work: Callable[[], None]) -> dict[str, float]:
    cpu_s, wall_s = time.process_time(), time.perf_counter()
    work()
    return {
        "cpu_s": time.process_time() - cpu_s,
        "wall_s": time.perf_counter() - wall_s,
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def main() -> None:
    """Run the job that the command line names."""
    job, file, *more = sys.argv[1], Path(sys.argv[2]), *sys.argv[3:]
    works: dict[str, Callable[[], None]] = {
        "write": lambda: write(file, float(more[0]), int(more[1]), knocks=len(more) > 2),
        "decode": lambda: decode(file),
        "one thread": lambda: analyse(file, 1),
        "two threads": lambda: analyse(file, 2),
        "bank": lambda: bank(file),
        "assess": lambda: assess(file),
        "room": lambda: room(file),
        "plan": lambda: plan(int(more[0])),
    }
    print(json.dumps(_measured(works[job])))


if __name__ == "__main__":
    main()
