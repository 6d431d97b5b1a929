"""The moments of an event that may decide its LAFmax behind a loss.

What is loudest now need not be loudest behind a door: the crack of a slam stays outside, its boom comes
in. So beside the loudest moment those are kept that would be loudest behind losses of other shapes.
"""

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.levels.history import TICKS_PER_SECOND, LevelHistory

FADING = float(np.exp(-1.0))
"""What the F weighting keeps of the past after a tick of 125 ms. Source: IEC 61672-1, time constant of F."""

LEAD_TICKS = TICKS_PER_SECOND
"""Sound before an event that the F weighting still holds. Chosen: 1 s, of which 0.03 % are left."""

SLOPES_DB = (-6.0, -3.0, -1.5, 0.0, 1.5, 3.0, 6.0, 9.0)
"""Rise of a loss in an octave. Chosen: from what no wall does to twice the mass law."""

EDGES_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0)
"""From here up, or up to here, a loss may set in at once. Chosen: octaves in which events have energy."""

STEPS_DB = (8.0, 20.0)
"""By how much it then does. Chosen: a curtain, a door set."""


def _left_behind(nominal_hz: tuple[float, ...]) -> FloatArray:
    """Return what losses of many shapes leave in each band, shape (losses, bands)."""
    octave = np.log2(np.asarray(nominal_hz) / nominal_hz[0])
    losses = [slope * octave if slope > 0.0 else slope * (octave - octave[-1]) for slope in SLOPES_DB]
    for edge_hz in EDGES_HZ:
        above = np.asarray(nominal_hz) > edge_hz
        losses += [np.where(side, step, 0.0) for step in STEPS_DB for side in (above, ~above)]
    return energy(-np.array(losses))


def fast_energies(ticks: FloatArray) -> FloatArray:
    """Return energies, steady over each tick, as the F weighting has them at the ticks' ends.

    Parameters
    ----------
    ticks : ndarray, shape (ticks, ...)
    """
    found, now = np.empty_like(ticks), ticks[0]
    for place, each in enumerate(ticks):
        now = each + (now - each) * FADING
        found[place] = now
    return found


def loudest_moments(history: LevelHistory, first: int, last: int) -> tuple[Spectrum, ...]:
    """Return the F-weighted band levels at every moment that may be the loudest behind some loss.

    Parameters
    ----------
    history : LevelHistory
    first, last : int
        Half-open range of ticks of the event.

    Returns
    -------
    tuple of Spectrum
        In order of time, everything heard. The A-weighted level of the loudest one is the event's LAFmax.
        Empty for a log without bands.

    Notes
    -----
    The history holds each band's mean over 125 ms, not its F-weighted level. The F weighting is put on
    these means, and every moment is then scaled to the LAFmax that was measured within its tick. What is
    left is the shape of each band within its tick: a click shorter than a tick, in bands that are
    not the loudest ones, comes out up to 2 dB too low.
    """
    if not history.nominal_hz:
        return ()
    begin = max(first - LEAD_TICKS, 0)
    begin += int(np.append(0, np.flatnonzero(history.left_out[begin:first]) + 1)[-1])
    bands = np.nan_to_num(energy(np.asarray(history.bands[:, begin:last], dtype=np.float64)).T)
    heard = fast_energies(bands)[first - begin :]
    weights = energy(band_weighting_db(history.nominal_hz))
    total, measured = heard @ weights, energy(history.lafmax[first:last].astype(np.float64))
    heard *= np.divide(measured, total, out=np.zeros_like(total), where=total > 0.0)[:, None]
    loudest = ((heard * weights) @ _left_behind(history.nominal_hz).T).argmax(axis=0)
    return tuple(
        Spectrum(nominal_hz=history.nominal_hz, levels_db=level(heard[tick])) for tick in np.unique(loudest)
    )
