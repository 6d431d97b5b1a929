"""Readings of bands: the one farthest above its value, and A-weighted sums of low third octaves."""

from dataclasses import replace

import numpy as np

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_edges_hz, band_label, mid_band_hz
from sleepnoise.acoustics.decibels import combine
from sleepnoise.acoustics.weighting import weighting_db
from sleepnoise.judgement.coverage import Stretch
from sleepnoise.judgement.criteria import Criterion
from sleepnoise.judgement.measured import Measured, Reading, silent_rest_db


def worst_band(criterion: Criterion, stretch: Stretch) -> Reading:
    """Return the band of a stretch that is nearest to its value or farthest above."""
    name, levels_db = "third octave", stretch.bands_db
    if criterion.quantity == "octave_leq":
        name, levels_db = "octave", octaves_db(levels_db)
    over_db = {hz: levels_db.get(hz, float("nan")) - value for hz, value in criterion.bands_db.items()}
    known = [hz for hz, excess_db in over_db.items() if not np.isnan(excess_db)]
    worst = max(known or over_db, key=over_db.__getitem__)
    value_db = criterion.bands_db[worst]
    measured_db = value_db + over_db[worst]
    missing = len(over_db) - len(known)
    return Reading(
        what=f"worst {name} {band_label(worst)} Hz,",
        value_db=value_db,
        measured_db=measured_db,
        at_least_db=measured_db + silent_rest_db(stretch),
        gap=f"{missing} of {len(over_db)} bands not measured" if known and missing else "",
    )


def octaves_db(thirds_db: dict[float, float]) -> dict[float, float]:
    """Return the octaves of which all three third octaves are there, dB, by nominal frequency.

    Examples
    --------
    >>> [(hz, round(db, 2)) for hz, db in octaves_db({50.0: 40, 63.0: 43, 80.0: 46, 100.0: 50}).items()]
    [(63.0, 48.44)]
    """
    triples = zip(NOMINAL_HZ[1::3], NOMINAL_HZ[2::3], NOMINAL_HZ[3::3], strict=False)
    return {
        triple[1]: float(combine([thirds_db[hz] for hz in triple]))
        for triple in triples
        if all(hz in thirds_db for hz in triple)
    }


def band_sum(criterion: Criterion, stretch: Stretch, measured: Measured) -> Reading:
    """Return the A-weighted sum of low third octaves.

    Those below 20 Hz are not measured. All that they can add is bounded by the unweighted level
    of everything, weighted as at their upper edge.
    """
    wanted, levels_db = criterion.thresholds_db, stretch.bands_db
    measurable = [hz for hz in wanted if hz >= NOMINAL_HZ[0]]
    known = [hz for hz in measurable if not np.isnan(levels_db.get(hz, float("nan")))]
    heard = tuple(hz for hz in known if levels_db[hz] > wanted[hz])
    weighted_db = np.array([levels_db[hz] for hz in heard]) + weighting_db(mid_band_hz(heard), "A")
    sum_db = float(combine(weighted_db)) if known else float("nan")
    missing = len(measurable) - len(known)
    below_db = _below_db(stretch, measured) if len(measurable) < len(wanted) else -np.inf
    return Reading(
        what=f"A-weighted sum of {band_label(min(wanted))} to {band_label(max(wanted))} Hz",
        value_db=criterion.value_db,
        measured_db=float(combine([sum_db, below_db])),
        at_least_db=sum_db + silent_rest_db(stretch),
        gap=f"{missing} of {len(measurable)} bands not measured" if missing else "",
    )


def _below_db(stretch: Stretch, measured: Measured) -> float:
    """Return an upper bound of the A-weighted level of everything below 20 Hz; nan if not known."""
    whole = measured.series.get("lzeq")
    if whole is None:
        return float("nan")
    part = whole.between(stretch.series.start, stretch.series.end)
    lzeq = replace(stretch, series=replace(part, known=stretch.series.known)).mean_db
    edge_hz = band_edges_hz(NOMINAL_HZ[:1])[0, 0]
    return lzeq + float(weighting_db(edge_hz, "A"))
