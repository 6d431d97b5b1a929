"""The demo on disk: a night or the short excerpt, its calibration tone, door test, truth and note.

All of it appears together once it is complete, so an interrupted run leaves nothing half-written.
"""

import contextlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import REFERENCE_PRESSURE_PA, FloatArray
from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.demo.door_test import (
    DOOR_STATES,
    STATE_S,
    TONE_DB,
    TONE_HZ,
    TONE_S,
    DoorState,
    calibration_tone_pa,
    door_state_pa,
)
from sleepnoise.demo.scenario import NOTICE, PLACE, ZONE, Scenario, planned_night, seconds_at
from sleepnoise.demo.synthesis import Synthesis
from sleepnoise.demo.truth import NightTruth, night_truth, truth_table
from sleepnoise.errors import OutputError
from sleepnoise.evidence.durable import cannot_write
from sleepnoise.evidence.placing import placed_files
from sleepnoise.trials.sound_file import write_samples

FULL_SCALE_SINE_DB = 100.0
"""Level of a full-scale sine. Chosen: 6 dB over the calibration tone."""
PASCAL_PER_FULL_SCALE = float(np.sqrt(2.0)) * REFERENCE_PRESSURE_PA * 10.0 ** (FULL_SCALE_SINE_DB / 20.0)
"""Pressure of a sample of value 1.0, 2.83 Pa. Chosen: follows from the level of a full-scale sine."""
NIGHT_BITS = 24
"""Bits a sample of a night. Chosen: what field recorders write."""
EXCERPT_BITS = 16
"""Bits a sample of the excerpt. Chosen: rounding adds 2 dB(A) at most, 25 dB below the background."""
EXCERPT_RATE_HZ = 24_000
"""Sampling rate of the excerpt. Chosen: everything up to the 8 kHz octave in a file of a few MB."""
EXCERPT_SEED = 3
"""Seed of the excerpt. Chosen: the flat's number."""
EXCERPT_START = "04:05"
"""Beginning of the excerpt, local. Chosen: two quiet minutes, then four kinds of sound in six."""
EXCERPT_HOURS = 0.125
"""Length of the excerpt: 7.5 minutes. Chosen: the van leaves and a last door slams."""

_TONE_FILE = "calibration_tone.flac"
_TRUTH_FILE = "truth.json"
_DOOR_FOLDER = "door_test"
_NOTE_FILE = "NOTE.md"
_WRITTEN_BY_HAND = ("bedroom.toml", "door_test.toml")


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoNight:
    """What was written.

    Attributes
    ----------
    recording, calibration_tone, truth_file, note : Path
    door_test : tuple of Path
        In the order of the test.
    truth : NightTruth
    pascal_per_full_scale : float, Pa
    """

    recording: Path
    calibration_tone: Path
    door_test: tuple[Path, ...]
    truth_file: Path
    note: Path
    truth: NightTruth
    pascal_per_full_scale: float


def write_demo(
    folder: Path,
    *,
    hours: float,
    seed: int,
    sample_rate_hz: int = 48_000,
    force: bool,
    on_progress: Callable[[float], None] = lambda _share: None,
) -> DemoNight:
    """Write a demo night and everything that belongs to it, from 22:55 on, or from 04:05 if it is short.

    Parameters
    ----------
    folder : Path
        Is made when missing.
    hours : float, h
        Length of the night, 0.05 to 8. Less than the excerpt begins as the excerpt does: at 22:55 it would
        be over before the night window begins.
    seed : int
        The same seed gives the same bytes.
    sample_rate_hz : int, Hz
    force : bool
        Whether files of the same names may be replaced.
    on_progress : callable
        Hears which part of the night, 0 to 1, has been written.

    Raises
    ------
    SettingsError
        If seed, length or sampling rate are not allowed.
    OutputError
        If the folder cannot be written to, has no room, or holds such files already.
    """
    wishes = f"hours={hours:g}, seed={seed}, sample_rate_hz={sample_rate_hz}"
    call = f"write_demo(Path('night'), {wishes}, force=True)"
    first_s = seconds_at(EXCERPT_START) if hours < EXCERPT_HOURS else 0.0
    synthesis = Synthesis(planned_night(seed, hours=hours, first_s=first_s), sample_rate_hz)
    return _written(folder, synthesis, NIGHT_BITS, call, force, on_progress)


def write_excerpt(folder: Path, *, force: bool) -> DemoNight:
    """Write the short excerpt that lies in ``demo_audio/``; arguments as for :func:`write_demo`."""
    call = "write_excerpt(Path('demo_audio'), force=True)"
    return _written(folder, excerpt(), EXCERPT_BITS, call, force, lambda _share: None)


def excerpt() -> Synthesis:
    """Return the sound of the excerpt, without a disk."""
    scenario = planned_night(EXCERPT_SEED, hours=EXCERPT_HOURS, first_s=seconds_at(EXCERPT_START))
    return Synthesis(scenario, EXCERPT_RATE_HZ)


def recording_name(scenario: Scenario) -> str:
    """Return the file name of a recording; it tells the local start."""
    local = scenario.start.astimezone(ZoneInfo(ZONE))
    return f"larch-court-flat-3_{local:%Y%m%d_%H%M%S}.flac"


def _written(
    folder: Path,
    synthesis: Synthesis,
    bits: int,
    call: str,
    force: bool,
    on_progress: Callable[[float], None],
) -> DemoNight:
    recording = recording_name(synthesis.scenario)
    sounds = {
        recording: _reporting(synthesis, on_progress),
        _TONE_FILE: iter([calibration_tone_pa(synthesis.sample_rate_hz)]),
        **_door_test(synthesis),
    }
    names = (*sounds, _TRUTH_FILE, _NOTE_FILE, *_WRITTEN_BY_HAND)
    with (
        _made(folder / _DOOR_FOLDER),
        placed_files(*(folder / name for name in names), force=force) as unfinished,
    ):
        truth = night_truth(synthesis)
        places = dict(zip(names, unfinished, strict=True))
        for name, stretches in sounds.items():
            blocks = (sample_values(pressure_pa, bits) for pressure_pa in stretches)
            form: Any = {"sample_rate_hz": synthesis.sample_rate_hz, "subtype": f"PCM_{bits}"}
            write_samples(places[name], blocks, channels=1, comment=NOTICE, **form)
        table = json.dumps(_truth_file(truth, recording, bits), indent=2) + "\n"
        places[_TRUTH_FILE].write_text(table, encoding="utf-8", newline="\n")
        note = _note(truth, recording, bits, call)
        places[_NOTE_FILE].write_text(note, encoding="utf-8", newline="\n")
        for name in _WRITTEN_BY_HAND:
            places[name].write_bytes(Path(__file__).with_name(name).read_bytes())
    return DemoNight(
        recording=folder / recording,
        calibration_tone=folder / _TONE_FILE,
        door_test=tuple(folder / _door_file(state) for state in DOOR_STATES),
        truth_file=folder / _TRUTH_FILE,
        note=folder / _NOTE_FILE,
        truth=truth,
        pascal_per_full_scale=PASCAL_PER_FULL_SCALE,
    )


def _door_file(state: DoorState) -> str:
    return f"{_DOOR_FOLDER}/{state.name}.flac"


def _door_test(synthesis: Synthesis) -> dict[str, Iterator[FloatArray]]:
    """Return the recordings of the door test by file name, each as a single stretch."""
    seed, rate = synthesis.scenario.seed, synthesis.sample_rate_hz
    return {_door_file(state): iter([door_state_pa(state, seed, rate)]) for state in DOOR_STATES}


def _truth_file(truth: NightTruth, recording: str, bits: int) -> dict[str, Any]:
    """Return the content of ``truth.json``: the night, and the recordings beside it."""
    return {
        **truth_table(truth),
        "recording": recording,
        "bits": bits,
        "pascal_per_full_scale": PASCAL_PER_FULL_SCALE,
        "calibration_tone": {"file": _TONE_FILE, "level_dB": TONE_DB, "frequency_hz": TONE_HZ},
        "door_test": [
            {"file": _door_file(state), "what": state.meaning, SYMBOLS["laeq"].column: state.laeq}
            for state in DOOR_STATES
        ],
    }


def _note(truth: NightTruth, recording: str, bits: int, call: str) -> str:
    """Return the text of ``NOTE.md``."""
    kinds = [event.kind for event in truth.events]
    counted = "; ".join(f"{kind}: {kinds.count(kind)}" for kind in dict.fromkeys(kinds))
    # Evenly spread rounding errors lie 6.02 b + 1.76 dB below a full-scale sine.
    rounding_db = FULL_SCALE_SINE_DB - (6.02 * bits + 1.76)
    return f"""# {PLACE}

**{NOTICE}**

A first-floor bedroom over the loading lane of a bakery: {truth.quiet_laeq:g} dB(A) between sounds, a
condenser whose hum comes and goes, bread crates and a van at 04:10, a tram until 00:40 and from
05:20, a stairwell door behind a leaky hollow-core double door to the hall, footsteps above and a
neighbour's late television. Nobody was recorded: the voices are modulated noise without words.

| file | what | LAeq |
|---|---|---|
{_file_rows(truth, recording)}

Sounds in the recording: {counted}.

All sound files: one channel, {truth.sample_rate_hz} Hz, {bits} bits, the same gain. A full-scale sine is
{FULL_SCALE_SINE_DB:g} dB re 20 µPa, so a sample of value 1.0 is {PASCAL_PER_FULL_SCALE:.4f} Pa.
Rounding to {bits} bits adds noise of {rounding_db:.0f} dB over all frequencies together.

Made with seed {truth.seed} by

    from pathlib import Path
    from sleepnoise.demo.writing import {call.partition("(")[0]}
    {call}

The door test shows a method, not advice for a real door. Before sealing or changing one, see to
fire doors and escape routes, air for people and for appliances that burn fuel, and that smoke
alarms and an infant can still be heard; local codes and licensed practice decide.
"""


def _file_rows(truth: NightTruth, recording: str) -> str:
    """Return the note's table of files, without its head."""
    local = truth.start.astimezone(ZoneInfo(truth.zone))
    span = f"{truth.seconds / 60:g} min from {local:%Y-%m-%d %H:%M:%S} local time, zone {truth.zone}"
    rows = [
        (recording, span, f"{truth.laeq:.1f} dB"),
        (_TONE_FILE, f"{TONE_HZ:g} Hz, {TONE_S:g} s", f"{TONE_DB:g} dB"),
        *((_door_file(s), f"{s.meaning}, {STATE_S:g} s", f"{s.laeq:g} dB") for s in DOOR_STATES),
        (_TRUTH_FILE, "what sounds when, how loud, and how that is defined", ""),
        ("bedroom.toml", "the room, for `paths` and `plan`; copy it to describe a room of your own", ""),
        ("door_test.toml", "the door test step by step, for `door-test`", ""),
    ]
    return "\n".join(f"| `{name}` | {what} | {laeq} |" for name, what, laeq in rows)


@contextlib.contextmanager
def _made(folder: Path) -> Iterator[None]:
    """Make a folder and those around it; whichever is new is gone again if anything goes wrong."""
    new = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        yield
        new = []
    except OutputError:
        raise
    except OSError as error:
        raise cannot_write(folder, error) from None
    finally:
        for path in new:
            with contextlib.suppress(OSError):
                path.rmdir()


def _reporting(synthesis: Synthesis, on_progress: Callable[[float], None]) -> Iterator[FloatArray]:
    for first, pressure_pa in synthesis.stretches():
        yield pressure_pa
        on_progress((first + pressure_pa.size - synthesis.first) / (synthesis.last - synthesis.first))


def sample_values(pressure_pa: FloatArray, bits: int) -> NDArray[np.int32]:
    """Return whole numbers of *bits* bits for pressures, left-justified in 32 bits, as sound files want."""
    largest = 2 ** (bits - 1)
    whole = np.rint(pressure_pa * (largest / PASCAL_PER_FULL_SCALE))
    samples: NDArray[np.int32] = np.clip(whole, -largest, largest - 1).astype(np.int32)
    return samples << (32 - bits)
