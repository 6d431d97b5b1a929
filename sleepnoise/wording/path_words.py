"""The paths of a room in sentences and tables, the same on every screen and page."""

import math

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_label
from sleepnoise.acoustics.decibels import FloatArray, combine, energy
from sleepnoise.acoustics.uncertainty import COVERAGE_95
from sleepnoise.isolation.paths import Path, RoomLevels
from sleepnoise.profiles.bedroom import Side
from sleepnoise.wording.rounding import DOUBTS, level_text
from sleepnoise.wording.tables import Table, plain_column

BEHIND: dict[Side, str] = {
    "hall": "in the hall",
    "outdoors": "outdoors",
    "neighbour": "at the neighbour",
}


def path_text(path: Path) -> str:
    """Return a path in words.

    Returns
    -------
    str
        Such as ``"oak door: gap bottom, 10 mm"``; an estimated width reads *about*.
    """
    if path.gap is None:
        return path.part.title if path.through == "leaf" else f"{path.part.title}: {path.through}"
    about = "" if path.gap.measured else "about "
    return f"{path.part.title}: {path.through}, {about}{path.gap.width_m * 1000.0:g} mm"


def heard_paths(now: RoomLevels) -> list[int]:
    """Return the numbers of the paths by which anything comes in, strongest first."""
    count = np.count_nonzero(~np.isneginf(now.levels_dba))
    return [int(number) for number in np.argsort(-now.levels_dba, kind="stable")[:count]]


def path_title(path: Path) -> str:
    """Return a path in words, with the doubt of what is known of it."""
    return path_text(path) + (doubt_text(path.part.element.source.how_known) if path.gap is None else "")


def path_u_db(now: RoomLevels, number: int) -> float:
    """Return U (k = 2) of the level that one path brings, dB."""
    return COVERAGE_95 * now.paths.paths[number].u_db


def lead_sentence(now: RoomLevels) -> str:
    """Return whether the strongest path leads beyond the uncertainty of both."""
    heard = heard_paths(now)
    if len(heard) < 2:
        return "It is the only path."
    first = heard[0]
    rivals = [number for number in heard[1:] if not _leads(now, first, number)]
    if not rivals:
        return "It leads all others beyond the uncertainty of both."
    named = "; ".join(path_text(now.paths.paths[number]) for number in rivals)
    return f"Whether it leads cannot be told: within the uncertainty of both, so may {named}."


def _leads(now: RoomLevels, first: int, other: int) -> bool:
    u_db = math.hypot(path_u_db(now, first), path_u_db(now, other))
    return bool(now.levels_dba[first] - now.levels_dba[other] > u_db)


def paths_table(now: RoomLevels) -> Table:
    """Return the paths by which anything comes in, strongest first."""
    columns = (
        plain_column("Path"), plain_column("From"),
        *(plain_column(name, number=True) for name in ("Keeps out", "dB(A)", "Share", "Without")),
    )  # fmt: skip
    rows = tuple(
        (
            path_title(now.paths.paths[number]),
            now.paths.paths[number].part.behind,
            _kept_out(now, number),
            level_text(float(now.levels_dba[number])),
            f"{100.0 * now.shares[number]:.0f} %",
            without_text(now, number),
        )
        for number in heard_paths(now)
    )
    return Table(title="How the sound gets in, strongest first", columns=columns, rows=rows)


def without_text(now: RoomLevels, number: int) -> str:
    """Return what the room would gain without a path."""
    gain = float(now.gains_without_db[number])
    return f"{level_text(gain)} dB" if math.isfinite(gain) else "all"


def silent_sides(now: RoomLevels) -> str:
    """Return on which sides no sound stands; nothing if on all."""
    silent = {path.part.behind for path in now.paths.paths} - set(now.arriving)
    return f"No sound stands {', nor '.join(BEHIND[side] for side in sorted(silent))}." if silent else ""


def _kept_out(now: RoomLevels, number: int) -> str:
    """Return by how much a path lowers the A-weighted level of the sound behind it."""
    behind_dba = float(combine(now.arriving[now.paths.paths[number].part.behind]))
    return f"{level_text(behind_dba - float(now.levels_dba[number]), 0)} dB"


def band_shares(now: RoomLevels) -> FloatArray:
    """Return each path's part of each band's energy, shape (paths, bands); ``nan`` without any sound."""
    weighted = energy(now.band_levels_db)
    total = weighted.sum(axis=0)
    return np.asarray(np.divide(weighted, total, out=np.full_like(weighted, np.nan), where=total > 0.0))


def shares_table(now: RoomLevels, numbers: list[int]) -> Table:
    """Return the share of some paths in every band, per cent."""
    shares = band_shares(now)
    columns = (
        plain_column("Band, Hz", number=True),
        *(plain_column(f"Path {place}", number=True) for place in range(1, 1 + len(numbers))),
    )
    rows = tuple(
        (band_label(hz), *(_share_text(float(shares[number, band])) for number in numbers))
        for band, hz in enumerate(NOMINAL_HZ)
    )
    return Table(title="Share of each path in each third octave, %", columns=columns, rows=rows)


def _share_text(share: float) -> str:
    return "–" if math.isnan(share) else f"{100.0 * share:.0f}"


def doubt_text(how_known: str) -> str:
    """Return a doubt in brackets, by how a value is known; nothing where it was seen."""
    return f" ({DOUBTS[how_known]})" if how_known in DOUBTS else ""
