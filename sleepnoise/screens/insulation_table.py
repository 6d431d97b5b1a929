"""An insulation measurement in 80 columns: single-number ratings first, then the bands."""

from collections.abc import Iterator

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.acoustics.bands import band_label
from sleepnoise.fieldwork.insulation import Insulation, Quantity
from sleepnoise.fieldwork.ratings import COVERAGE_95_INSULATION, RATING_UNCERTAINTY_DB
from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs
from sleepnoise.trials.insulation import CAUTIONS, InsulationResult
from sleepnoise.wording.rounding import number_text, signed_text


def show_insulation(result: InsulationResult) -> None:
    """Print an insulation measurement on standard output."""
    screen = Screen()
    screen.print(Text(plain(result.title), style="bold"))
    source, receiving = result.positions
    screen.print(Text(f"Positions: {source} on the side of the sound, {receiving} behind."))
    show_paragraphs(screen, (Text(each) for each in rating_sentences(result.found)))
    heading(screen, "By bands, dB")
    screen.print(_table(result.found))
    if result.found.at_limit.any():
        screen.print(Text("≥ at least: the background was 6 dB or less below."))
    if result.remarks:
        heading(screen, "What to know of it")
        show_paragraphs(screen, (Text(plain(each)) for each in result.remarks))
    heading(screen, "Cautions")
    show_paragraphs(screen, (Text(each, style="dim") for each in CAUTIONS))


def rating_sentences(found: Insulation) -> Iterator[str]:
    """Return every single-number rating in a line, with what it is made by."""
    least = "≥ " if found.at_limit.any() else ""
    for each in found.quantities:
        yield from _ratings(each, least)
    if not any(each.weighted for each in found.quantities):
        yield "No single-number rating: it needs every band from 100 Hz to 3150 Hz (octaves 125 to 2000 Hz)."
        return
    expanded_db = COVERAGE_95_INSULATION * RATING_UNCERTAINTY_DB["places"]
    yield (
        f"ISO 717-1 ratings in place: ± {number_text(expanded_db, 1)} dB for 95 % (ISO 12999-1; unverified)."
    )


def _ratings(quantity: Quantity, least: str) -> Iterator[str]:
    if quantity.weighted:
        terms = "; ".join(
            f"{name} {signed_text(value)}" for name, value in quantity.weighted.terms_db.items()
        )
        rating = number_text(quantity.weighted.rating_db, 0)
        yield f"{weighted_symbol(quantity.symbol)} = {least}{rating} dB ({terms}), ISO 717-1."
    if quantity.contour:
        held = ", held down by one band" if quantity.contour.held_by_one_band else ""
        worst = f"{band_label(quantity.contour.largest_at_hz)} Hz"
        rating = number_text(quantity.contour.rating_db, 0)
        yield f"{quantity.contour_name} = {least}{rating}{held}; most is missing at {worst}, ASTM E413."
    if quantity.outdoor_class_db is not None:
        yield f"OITC = {least}{number_text(quantity.outdoor_class_db, 0)}, ASTM E1332 (unverified)."


def weighted_symbol(symbol: str) -> str:
    """Return how the weighted rating of a quantity is written.

    Examples
    --------
    >>> [weighted_symbol(symbol) for symbol in ("DnT", "D2m,nT", "R'", "R'45", "R'tr,s", "D")]
    ['DnT,w', 'D2m,nT,w', "R'w", "R'45,w", "R'tr,s,w", 'Dw']
    """
    return symbol + ("w" if symbol in ("D", "R'") else ",w")


def _table(found: Insulation) -> ScreenTable:
    table = ScreenTable(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for head in ("Band, Hz", "L1", "L2", "T, s", *(each.symbol for each in found.quantities)):
        table.add_column(head, justify="right", no_wrap=True)
    for place, hz in enumerate(found.nominal_hz):
        least = "≥ " if found.at_limit[place] else ""
        table.add_row(
            band_label(hz),
            number_text(float(found.source_db[place]), 1),
            number_text(float(found.receiving_db[place]), 1),
            number_text(float(found.reverberation_s[place]), 2),
            *(least + number_text(float(each.values.levels_db[place]), 1) for each in found.quantities),
        )
    return table
