"""Reverberation times in 80 columns, with what a room file wants to know of them."""

import math

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.uncertainty import COVERAGE_95
from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs
from sleepnoise.trials.reverberation import BandTimes, RoomDecay
from sleepnoise.wording.rounding import number_text


def show_decay(result: RoomDecay) -> None:
    """Print the reverberation times of a room on standard output."""
    screen = Screen()
    screen.print(Text("Reverberation time", style="bold"))
    screen.print(Text(f"{_counted(result.recordings)}; {_middle(result)}"))
    screen.print()
    screen.print(_table(result))
    screen.print(Text("± is the expanded uncertainty of T20 (k = 2). T30 needs 10 dB more above the noise."))
    told = [f"{band_label(band.nominal_hz)} Hz: {each}" for band in result.bands for each in band.warnings]
    if told or result.remarks:
        heading(screen, "What to know of it")
        show_paragraphs(screen, (Text(plain(each)) for each in (*result.remarks, *told)))
    if result.octaves and any(math.isfinite(band.t20_s) for band in result.bands):
        heading(screen, "For a room file")
        screen.print(Text(room_line(result)), soft_wrap=True)


def room_line(result: RoomDecay) -> str:
    """Return the line of a room file that says the same."""
    known = (band for band in result.bands if math.isfinite(band.t20_s))
    pairs = (f'"{band_label(band.nominal_hz)}" = {number_text(band.t20_s, 2)}' for band in known)
    return f"reverberation_octaves_s = {{ {', '.join(pairs)} }}"


def _counted(recordings: int) -> str:
    return (
        "One recording: other places in the room may differ"
        if recordings == 1
        else f"{recordings} recordings"
    )


def _middle(result: RoomDecay) -> str:
    if math.isnan(result.mid_s):
        return "no time at 500 Hz and 1000 Hz could be found."
    return f"{number_text(result.mid_s, 2)} s at 500 Hz and 1000 Hz."


def _table(result: RoomDecay) -> ScreenTable:
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    heads = ["Band, Hz", "T20, s", "±", "T30, s", "EDT, s", "Decays"]
    for head in heads + (["A, m²"] if result.volume_m3 else []):
        table.add_column(head, justify="right", no_wrap=True)
    for band in result.bands:
        area = [number_text(band.absorption_m2, 1)] if result.volume_m3 else []
        table.add_row(*_cells(band), *area)
    return table


def _cells(band: BandTimes) -> tuple[str, ...]:
    times = (band.t20_s, COVERAGE_95 * band.u_s, band.t30_s, band.edt_s)
    return (band_label(band.nominal_hz), *(number_text(each, 2) for each in times), str(band.decays))
