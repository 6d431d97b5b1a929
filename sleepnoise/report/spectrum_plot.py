"""Third-octave spectra of the background and the loudest events as a static drawing."""

from dataclasses import dataclass

import numpy as np

from sleepnoise.acoustics.bands import band_label
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.assessing.record import NightRecord
from sleepnoise.report.night_trace import Mark, level_range
from sleepnoise.wording.rounding import axis_text, clock_text
from sleepnoise.wording.tables import loudest_events

WIDTH, HEIGHT = 1080, 340
"""Size of the drawing in its own units. Chosen: as wide as the night trace above it."""

LEFT, RIGHT, TOP, BOTTOM = 52, 1050, 16, 292
"""Plot area. Chosen: room for levels on the left and band names below."""

DRAWN_EVENTS = 3
"""Event spectra in the drawing. Chosen: more lines than these can't be told apart; the table has more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One spectrum: its name and its path."""

    name: str
    path: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectrumPlot:
    """Everything the template needs to draw spectra."""

    background: Line
    events: tuple[Line, ...]
    bands: tuple[Mark, ...]
    levels: tuple[Mark, ...]
    description: str


def spectra_of(record: NightRecord, events: int = DRAWN_EVENTS) -> dict[str, Spectrum]:
    """Return the background's spectrum and those of the loudest events, by their names for people."""
    night = record.assessment
    named = {"Background": night.background_spectrum}
    for event in loudest_events(night.events, events):
        named[f"Event {event.number}, {clock_text(event.start, night.window.zone)}"] = event.max_spectrum
    return named


def spectrum_plot(record: NightRecord) -> SpectrumPlot:
    """Return the drawing of the background and the loudest events, band by band."""
    spectra = spectra_of(record)
    nominal_hz = record.assessment.background_spectrum.nominal_hz
    low_db, high_db = level_range(np.concatenate([spectrum.levels_db for spectrum in spectra.values()]))
    lines = [Line(name=name, path=_path(spectrum, low_db, high_db)) for name, spectrum in spectra.items()]
    width = (RIGHT - LEFT) / len(nominal_hz)
    return SpectrumPlot(
        background=lines[0],
        events=tuple(lines[1:]),
        # Every third band has its name: the octaves.
        bands=tuple(
            Mark(at=round(LEFT + width * (place + 0.5), 1), text=band_name(nominal))
            for place, nominal in enumerate(nominal_hz)
            if (nominal_hz.index(1000.0) - place) % 3 == 0
        ),
        levels=tuple(
            Mark(at=round(_y(db, low_db, high_db), 1), text=axis_text(db))
            for db in np.arange(low_db, high_db + 1, 10)
        ),
        description=(
            "Unweighted third-octave levels: dotted the equivalent level of the event-free background; for "
            f"the loudest events the highest level of each band: {_line_names(lines[1:])}. The table gives "
            "the figures."
        ),
    )


def _line_names(lines: list[Line]) -> str:
    styles = ("solid", "dashed", "dash and dot")
    return "; ".join(f"{style} {line.name}" for style, line in zip(styles, lines, strict=False)) or "none"


def _path(spectrum: Spectrum, low_db: float, high_db: float) -> str:
    """Return a level stretch for each band, joined by steps; a gap where nothing is known."""
    width = (RIGHT - LEFT) / len(spectrum.nominal_hz)
    drawn, joined = [], False
    for place, level_db in enumerate(spectrum.levels_db):
        if np.isnan(level_db):
            joined = False
            continue
        first, y = LEFT + width * place, _y(float(level_db), low_db, high_db)
        drawn.append(f"{'L' if joined else 'M'}{first:.1f},{y:.1f}H{first + width:.1f}")
        joined = True
    return "".join(drawn)


def _y(level_db: float, low_db: float, high_db: float) -> float:
    share = (level_db - low_db) / (high_db - low_db)
    return BOTTOM - (BOTTOM - TOP) * min(max(share, 0.0), 1.0)


def band_name(nominal_hz: float) -> str:
    """Return a band's name for an axis, thousands as k."""
    return f"{band_label(nominal_hz / 1000)}k" if nominal_hz >= 1000 else band_label(nominal_hz)
