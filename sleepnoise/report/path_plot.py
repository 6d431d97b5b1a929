"""The paths of a room: what each brings, and its share of every band."""

import math
from types import SimpleNamespace
from typing import Any

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.uncertainty import COVERAGE_95
from sleepnoise.isolation.paths import RoomLevels
from sleepnoise.report.axes import WIDTH, cut_text
from sleepnoise.report.drawings import drawn
from sleepnoise.report.interval_rows import IntervalRow, interval_figure
from sleepnoise.report.ladder_plot import band_marks
from sleepnoise.report.night_trace import Mark
from sleepnoise.report.sections import Figure
from sleepnoise.wording.path_words import band_shares, heard_paths, path_text, path_title, path_u_db
from sleepnoise.wording.rounding import level_text

SHARES = SimpleNamespace(WIDTH=WIDTH, HEIGHT=380, LEFT=60, RIGHT=856, TOP=16, BOTTOM=332, ALL=884, END=944)
"""Size of the drawing of shares, with a wide column for all bands at the right. Chosen: as other figures."""

MOST_PATHS = 20
"""Paths in the drawing of levels, the strongest. Chosen: weaker ones bring hardly anything; see the table."""

OWN_COLOURS = 6
"""Paths with a colour of their own. Chosen: more can't be told apart; the others share one."""

NUMBERED_FROM = 18.0
"""Height of a part from which on it carries its path's number. Chosen: as tall as the number."""


def levels_figure(now: RoomLevels, key: str) -> Figure:
    """Return the level that each path brings, with its uncertainty, strongest first."""
    rows = [
        IntervalRow(
            name=f"{place} {path_title(now.paths.paths[number])}",
            value=float(now.levels_dba[number]),
            low=float(now.levels_dba[number]) - path_u_db(now, number),
            high=float(now.levels_dba[number]) + path_u_db(now, number),
            note=f"{level_text(float(now.levels_dba[number]))} ± {level_text(path_u_db(now, number))}, "
            f"{100.0 * now.shares[number]:.0f} % of all",
            tone="first" if number == now.strongest else "",
        )
        for place, number in enumerate(heard_paths(now)[:MOST_PATHS], start=1)
    ]
    expanded_db = COVERAGE_95 * now.u_db
    together = f"{level_text(now.room_dba)} ± {level_text(expanded_db)} dB(A)"
    first = path_text(now.paths.paths[now.strongest])
    return interval_figure(
        key,
        "What each path brings into the room, dB(A)",
        f"{len(rows)} paths, strongest first, each with its expanded uncertainty (k = 2). The strongest is "
        f"{cut_text(first, 700)}. All together come to {together}.",
        rows,
        unit="dB(A)",
        value=now.room_dba,
        zone=(now.room_dba - expanded_db, now.room_dba + expanded_db),
        words=(f"all together, {together}", "its uncertainty"),
    )


def shares_figure(now: RoomLevels, key: str) -> Figure:
    """Return each path's share of every third octave, and of all of them A-weighted."""
    numbers = heard_paths(now)
    shares, width = band_shares(now), (SHARES.RIGHT - SHARES.LEFT) / len(NOMINAL_HZ)
    named = {mark.at for mark in band_marks(NOMINAL_HZ, SHARES)}
    columns = []
    for band in range(len(NOMINAL_HZ)):
        x = SHARES.LEFT + width * band
        parts = [float(shares[number, band]) for number in numbers]
        columns.append(_column(parts, x, width, numbered=round(x + width / 2, 1) in named))
    whole = [float(now.shares[number]) for number in numbers]
    columns.append(_column(whole, SHARES.ALL, SHARES.END - SHARES.ALL, numbered=True))
    plot = {
        "parts": [part for column in columns for part in column],
        "bands": band_marks(NOMINAL_HZ, SHARES),
        "marks": [
            Mark(at=SHARES.BOTTOM - (SHARES.BOTTOM - SHARES.TOP) * share / 100, text=f"{share} %")
            for share in (0, 25, 50, 75, 100)
        ],
        "names": [
            f"{place} {cut_text(path_text(now.paths.paths[number]), 600)}"
            for place, number in enumerate(numbers[:OWN_COLOURS], start=1)
        ],
        "others": len(numbers) > OWN_COLOURS,
    }
    title = "Share of each path in each third octave"
    leaders = "; ".join(
        f"{place} {cut_text(path_text(now.paths.paths[number]), 420)} {100 * now.shares[number]:.0f} %"
        for place, number in enumerate(numbers[:OWN_COLOURS], start=1)
    )
    description = (
        "Columns of parts, the strongest path at the bottom, for each third octave; the wide column at the "
        f"right is the A-weighted whole: {leaders}. Empty bands hold no sound. A table gives the figures."
    )
    svg = drawn("shares", key, title, description, plot, SHARES)
    return Figure(key=key, title=title, description=description, svg=svg, legend=drawn("shares_key", plot))


def _column(shares: list[float], x: float, width: float, *, numbered: bool) -> list[dict[str, Any]]:
    """Return the parts of one column from the bottom up; none where there is no sound."""
    if any(math.isnan(share) for share in shares):
        return []
    tall = SHARES.BOTTOM - SHARES.TOP
    parts, below = [], 0.0
    for place, share in enumerate(shares):
        if share > 0.0:
            top, bottom = SHARES.BOTTOM - tall * (below + share), SHARES.BOTTOM - tall * below
            parts.append(
                {
                    "colour": min(place, OWN_COLOURS) + 1,
                    "x": round(x + 0.5, 2),
                    "y": round(top, 2),
                    "width": round(width - 1, 2),
                    "height": round(bottom - top, 2),
                    "number": place + 1
                    if numbered and bottom - top >= NUMBERED_FROM and place < OWN_COLOURS
                    else 0,
                    "middle": round((top + bottom) / 2 + 4, 1),
                    "centre": round(x + width / 2, 1),
                }
            )
        below += share
    return parts
