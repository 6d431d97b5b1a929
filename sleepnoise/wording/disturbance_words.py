"""What traffic noise does to sleep on average, in sentences and tables; never to many digits."""

import math
from collections.abc import Callable, Iterable

from sleepnoise.judgement.disturbance import (
    BASNER_MCGUIRE_2018,
    Disturbance,
    Estimate,
    Traffic,
    odds_factors,
)
from sleepnoise.wording.rounding import DOUBTS, signed_text
from sleepnoise.wording.tables import Column, Table, column, plain_column

CAUTIONS = (
    "These are averages over groups of mostly healthy adults who slept beside traffic. They say nothing "
    "about one person, and this is not medical advice.",
    "No such curve was made for neighbours' music, voices, bangs or dogs. For those the program counts "
    "events above thresholds and gives no probability.",
    "Awakenings here are those seen in the electroencephalogram, most of them brief and not remembered. "
    "Awakenings in which people press a button are rarer, and the curves disagree: for one aircraft of "
    "LASmax 60 dB, or LAE 72 dB, about 6 % in the electroencephalogram (Basner 2006), 2 % by button (ANSI "
    "S12.9 Part 6, withdrawn) and 0.4 % by button and due to the noise (Passchier-Vermeer 2003); all three "
    "unverified.",
    "The level meant is LASmax beside the sleeper; short bangs read several decibels higher with F "
    "weighting.",
    "Below about 33 dB no additional awakenings were found. How quiet it is otherwise matters, and events "
    "hidden in a loud background are not in the data.",
    "A critical review (Fidell and others, 2013) found predicted rates hard to tell from zero over a wide "
    "range of levels, and habits of a place important. Take the interval, not a number.",
)
"""To be printed with every estimate. Sources: as named; WHO, Night Noise Guidelines for Europe, 2009."""

SMALLEST_SHARE = 0.01
"""Probability below which no number is given. Chosen: one percent is finer than any of the curves."""

QUIETER_DB = -10.0
"""Change of level that odds are told for, dB. Chosen: what a good door or window gains, half as loud."""

SMALLEST_NUMBER = 0.1
"""Awakenings a night below which no number is given. Chosen: once in ten nights, finer than the curves."""

KINDS: dict[Traffic, str] = {"road": "road traffic", "rail": "railway", "aircraft": "aircraft"}
"""Kinds of traffic in words, before the word events."""


def disturbance_sentences(found: Disturbance) -> tuple[str, ...]:
    """Return what a night's events do to sleep on average, a sentence each."""
    if not found.counted:
        return ("Without calibrated levels nothing can be said about sleep.",)
    if not found.events:
        return ("No event was said to be traffic, so they are counted and nothing is said about awakenings.",)
    return tuple(
        f"{number} {KINDS[kind]} event{'' if number == 1 else 's'}: {_expected_said(found.estimates, kind)} "
        f"{odds_sentence(kind, QUIETER_DB)}"
        for kind, number in found.events.items()
    )


def _expected_said(estimates: Iterable[Estimate], kind: Traffic) -> str:
    """Return the interval over all curves of a kind and the uncertainty of levels."""
    of_kind = [estimate for estimate in estimates if estimate.curve.kind == kind]
    lows, highs = zip(*((each.expected[0], each.expected[-1]) for each in of_kind), strict=True)
    one_low, one_high = zip(*((each.at_least_one[0], each.at_least_one[-1]) for each in of_kind), strict=True)
    curves = " and ".join(each.curve.name for each in of_kind)
    return (
        f"{number_range_text(min(lows), max(highs))} additional awakenings in the electroencephalogram a "
        f"night on average, and {share_range_text(min(one_low), max(one_high))} of nights with one or more "
        f"({curves}, unverified)."
    )


def odds_sentence(kind: Traffic, change_db: float) -> str:
    """Return what a change of every event's level does to the odds of an awakening.

    Examples
    --------
    >>> odds_sentence("rail", -10.0)
    'Railway events −10.0 dB at the pillow: odds that one wakes 26 % lower (95 % interval 17 to 34 % lower).'
    """
    factors = odds_factors(kind, change_db)
    word = "lower" if change_db < 0 else "higher"
    least, middle, most = sorted(round(100 * abs(factor - 1)) for factor in factors)
    return (
        f"{KINDS[kind].capitalize()} events {signed_text(change_db)} dB at the pillow: odds that one wakes "
        f"{middle} % {word} (95 % interval {least} to {most} % {word})."
    )


def estimate_table(found: Disturbance) -> Table:
    """Return every estimate, one a row, with its curve."""
    columns = (
        plain_column("Traffic"), plain_column("Curve"), plain_column("Awakenings a night", number=True),
        plain_column("Nights with one or more", number=True), plain_column("Remarks"),
    )  # fmt: skip
    return Table(
        title="Additional awakenings to be expected, on average",
        columns=columns,
        rows=tuple(_estimate_row(estimate) for estimate in found.estimates),
    )


def _estimate_row(estimate: Estimate) -> tuple[str, ...]:
    curve, beyond = estimate.curve, estimate.beyond
    loud = f"{beyond} louder than the curve's range" if beyond else ""
    doubt = DOUBTS.get(curve.source.how_known, "")
    return (
        KINDS[curve.kind],
        curve.name,
        number_range_text(estimate.expected[0], estimate.expected[-1]),
        share_range_text(estimate.at_least_one[0], estimate.at_least_one[-1]),
        "; ".join(part for part in (doubt, loud) if part),
    )


def count_table(found: Disturbance) -> Table:
    """Return how many events lie above each level, one level a row."""
    over = column("lafmax")
    columns = (
        Column(text=f"{over.text} above, dB", html=f"{over.html} above, dB", number=True),
        *(plain_column(name, number=True) for name in ("Traffic", "Other", "Source not said")),
    )
    rows = tuple(
        (f"{each.above_db:g}", str(each.traffic), str(each.other), str(each.unsaid)) for each in found.counted
    )
    return Table(title="Events above a level", columns=columns, rows=rows)


def disturbance_sources(found: Disturbance) -> tuple[str, ...]:
    """Return the documents behind the estimates and the odds, once each."""
    named = (*(estimate.curve.source for estimate in found.estimates), BASNER_MCGUIRE_2018)
    return tuple(dict.fromkeys(str(source) for source in named)) if found.estimates else ()


def number_range_text(low: float, high: float) -> str:
    """Return an interval to one significant digit, rounded outwards.

    Examples
    --------
    >>> number_range_text(0.23, 0.58), number_range_text(0.02, 0.31), number_range_text(1.2, 1.3)
    ('0.2 to 0.6', 'up to 0.4', '1 to 2')
    """
    return _range_text(low, high, SMALLEST_NUMBER)


def share_range_text(low: float, high: float) -> str:
    """Return an interval of probabilities in percent to one significant digit, rounded outwards.

    Examples
    --------
    >>> share_range_text(0.31, 0.66), share_range_text(0.001, 0.002)
    ('30 to 70 %', 'less than 1 %')
    """
    return f"{_range_text(100 * low, 100 * high, 100 * SMALLEST_SHARE)} %"


def _range_text(low: float, high: float, smallest: float) -> str:
    if high < smallest:
        return f"less than {smallest:g}"
    top = _one_digit(high, math.ceil)
    return f"up to {top:g}" if low < smallest else f"{_one_digit(low, math.floor):g} to {top:g}"


def _one_digit(number: float, outwards: Callable[[float], int]) -> float:
    digit = 10.0 ** math.floor(math.log10(number))
    # What lies a hair beside a whole digit is that digit.
    return float(outwards(round(number / digit, 9)) * digit)
