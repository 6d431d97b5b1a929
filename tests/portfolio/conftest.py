"""Short invented nights in two bedrooms that hear the same sounds, and a crew that works in this process."""

from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sleepnoise.assessing.record import AssessSettings
from sleepnoise.portfolio.crews import Crew
from sleepnoise.portfolio.gathering import gather

SECONDS, RATE_HZ = 40, 8000
SETTINGS = AssessSettings(zone="Europe/Vienna", full_scale_level_db=100.0, window="23:00-23:01")


def write_night(path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    sound = rng.normal(0, 0.001, SECONDS * RATE_HZ)
    for start_s in (12, 24):
        sound[start_s * RATE_HZ :][: 2 * RATE_HZ] += rng.normal(0, 0.02, 2 * RATE_HZ)
    soundfile.write(path, sound, RATE_HZ, subtype="PCM_16")


@pytest.fixture(scope="session")
def rooms(tmp_path_factory):
    """Two bedrooms with four invented nights each."""
    root = tmp_path_factory.mktemp("rooms")
    for room in (1, 2):
        folder = root / f"Larch Court {room}"
        folder.mkdir()
        for day in range(1, 5):
            write_night(folder / f"night_202602{day:02d}_230000.wav", 10 * room + day)
    return root


@pytest.fixture(scope="session")
def tasks(rooms):
    return gather(sorted(map(str, rooms.iterdir())), SETTINGS)


@pytest.fixture(scope="session")
def here():
    """A crew of two threads of this process."""

    @contextmanager
    def hands():
        with ThreadPoolExecutor(2) as executor:
            yield executor, lambda: 2

    return Crew(hands=hands)


@pytest.fixture(scope="session")
def bytes_below():
    """Return a function: every file below a folder with its bytes."""

    def found(folder):
        return {
            str(path.relative_to(folder)): path.read_bytes()
            for path in sorted(folder.rglob("*"))
            if path.is_file()
        }

    return found


@pytest.fixture(scope="session")
def baseline(tasks, here, tmp_path_factory):
    """The eight nights, assessed in this process."""
    from portfolio_work import write_data

    from sleepnoise.portfolio.running import assess_nights

    out = tmp_path_factory.mktemp("baseline")
    states = [outcome.state for outcome in assess_nights(tasks, out, write_data, here)]
    assert states == ["finished"] * 8
    return out
