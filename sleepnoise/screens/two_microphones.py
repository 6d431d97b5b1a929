"""What two microphones say together, in one screen of 80 columns."""

import math
from collections import Counter
from collections.abc import Iterator

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.acoustics.bands import band_label
from sleepnoise.pairing.alignment import FEWEST_WITNESSES
from sleepnoise.pairing.in_situ import BandDifference
from sleepnoise.pairing.paired import Outcome
from sleepnoise.screens.terminal import Screen, plain
from sleepnoise.trials.paired_nights import CAUTIONS, PairedNights, Scale
from sleepnoise.wording.rounding import level_text, signed_text

SCALES: dict[Scale, str] = {
    "calibrated": "Both microphones are calibrated: the differences hold as they are",
    "same gain": "Not calibrated, but recorded with the same gain: the differences hold as far as both "
    "microphones are alike",
    "shape only": "The microphones' scales are not known: only the shape over frequency holds. The mean of "
    "all bands measured is set to 0 dB",
}

OUTCOMES: dict[Outcome, str] = {
    "not heard": "not heard over the pillow's background",
    "not the same sound": "not found in the sound at the pillow",
    "covered by another sound": "covered by another sound at the pillow",
    "made in the bedroom": "made in the bedroom itself",
    "not measurable": "not measurable: a fault, no quiet beside it, or outside one recording",
}
"""Why events do not count, in words."""


def show_pair(result: PairedNights) -> None:
    """Print what two microphones say on standard output."""
    screen = Screen()
    screen.print(Text(_answer(result), style="bold"))
    for sentence in (*_sentences(result), *result.remarks):
        screen.print(Text(plain(sentence)))
    if result.used:
        screen.print()
        screen.print(_band_table(result))
    screen.print()
    for caution in CAUTIONS:
        screen.print(Text(f"– {caution}", style="dim"))


def _answer(result: PairedNights) -> str:
    if not result.used:
        return "Cannot tell what is lost on the way to the pillow."
    weighted = result.bands[0]
    if weighted.nominal_hz is not None:
        return "What real noise loses on its way to the pillow, as a shape over frequency"
    if math.isnan(weighted.median_db):
        return "What real noise loses on its way to the pillow"
    least = "at least " if weighted.at_least else ""
    quieter = f"{least}{level_text(weighted.median_db)} dB quieter"
    return f"A-weighted, real noise is {quieter} at the pillow than at the outer microphone"


def _sentences(result: PairedNights) -> Iterator[str]:
    events = len(result.events)
    if result.alignment is None:
        yield (
            f"Of {events} sounds at the outer microphone, fewer than {FEWEST_WITNESSES} were found again at "
            "the pillow, or their times contradict each other. Either these are not recordings of the same "
            "night, or too little of the outer noise reaches the pillow."
        )
        return
    yield f"{result.used} of {events} sounds at the outer microphone count."
    counts = Counter(event.outcome for event in result.events)
    for outcome, words in OUTCOMES.items():
        if counts[outcome]:
            yield f"  {counts[outcome]} {words}."
    yield _clocks(result)
    doubt = result.expanded_uncertainty_db
    uncertainty = "" if math.isnan(doubt) else f", to ±{level_text(doubt)} dB (k = 2)"
    yield f"{SCALES[result.scale]}{uncertainty}."


def _clocks(result: PairedNights) -> str:
    aligned = result.alignment
    assert aligned is not None
    spread = f"{1000 * aligned.spread_s:.1f} ms"
    if result.one_file:
        return (
            f"One recording, one clock; sound arrives {_text(1000 * aligned.lag_s)} ms later at the pillow "
            f"({aligned.witnesses} sounds agree to {spread})."
        )
    side = "after" if aligned.lag_s > 0 else "before"
    return (
        f"The outer recording begins {abs(aligned.lag_s):.3f} s {side} the other; the clock at the pillow "
        f"runs {signed_text(aligned.drift_ppm)} ppm ({aligned.witnesses} sounds agree to {spread})."
    )


def _band_table(result: PairedNights) -> ScreenTable:
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for head in ("Band, Hz", "Median, dB", "Middle half, dB", "By energy, dB", "Sounds", "Only limits"):
        table.add_column(head, justify="right", no_wrap=True)
    for band in result.bands:
        table.add_row(*_cells(band))
    return table


def _cells(band: BandDifference) -> tuple[str, ...]:
    name = "A" if band.nominal_hz is None else band_label(band.nominal_hz)
    counts = (str(band.events), str(band.limits) if band.limits else "")
    if math.isnan(band.median_db):
        return name, "–", "", "", *counts
    median = f"≥ {_text(band.median_db)}" if band.at_least else _text(band.median_db)
    if math.isnan(band.lower_quartile_db):
        return name, median, "", "", *counts
    half = f"{_text(band.lower_quartile_db)} to {_text(band.upper_quartile_db)}"
    return name, median, half, _text(band.energy_weighted_db), *counts


def _text(difference_db: float) -> str:
    return level_text(difference_db).replace("-", "−")
