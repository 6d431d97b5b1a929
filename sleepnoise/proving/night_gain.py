"""What nights before and after the work say of the treatment itself: its gain in each third octave.

Sounds of one source, from the side that was treated, are set side by side: what they bring in on average
before, less what they bring in afterwards. That tells the treatment only if it is the same source, so
it has to be named in both nights, heard several times in each, and last about as long; otherwise nobody can
tell. Sounds that the treatment made inaudible are no events any more, so that the gain is rather too small.
"""

from collections.abc import Sequence

import numpy as np

from sleepnoise.acoustics.decibels import FloatArray, energy, level
from sleepnoise.acoustics.uncertainty import COVERAGE_95
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.assessing.kept_night import KeptEvent, KeptNight
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ, on_model_bands
from sleepnoise.levels.history import MaskArray
from sleepnoise.planning.robustness import LEVEL_U_DB
from sleepnoise.proving.after_sound import CLEAR_TIMES
from sleepnoise.proving.door_proof import DoorGain, DoorProof, prove_by_door_test, treated_part
from sleepnoise.proving.promise import Promise

FEWEST_SOUNDS = 4
"""Sounds of one source that nights need. Chosen: a mean of fewer is known worse than treatments bring."""

SAME_LENGTH = 2.0
"""Ratio of typical durations up to which a source is taken for the same. Chosen: beyond, it is another."""

WIDEST_DB = 8.0
"""Scatter of one source's sounds beyond which they are not one kind of sound. Chosen: twice that of slams."""

_WEIGHTING_DB = band_weighting_db(MODEL_BANDS_HZ)
_REMEDY = "Name the sounds of one source in the nights before and after (--labels), or make a door test."


def prove_gain_by_nights(
    promise: Promise,
    before: Sequence[KeptNight],
    after: Sequence[KeptNight],
    part: str | None = None,
    *,
    same_recorder: bool = False,
) -> DoorProof:
    """Hold what nights say of a treatment against its plan.

    Parameters
    ----------
    promise : Promise
    before, after : sequence of KeptNight
        Those of the plan, in its order, and those after the work.
    part : str, optional
        Key of the treated part; may be left out when the plan treats only one.
    same_recorder : bool
        All were recorded with one recorder, calibration and place.

    Raises
    ------
    SettingsError
        If nobody can tell: the reason is said.
    """
    side = treated_part(promise, part).side
    told, reasons = [], []
    for source in _sources(promise, side):
        pairs = [
            [event for night in nights for event in night.events if event.label == source]
            for nights in (before, after)
        ]
        reason = _not_comparable(*pairs)
        if reason:
            reasons.append(f"{source}: {reason}.")
        else:
            told.append(pairs)
    if not told:
        why = " ".join(reasons) or f"no named sound comes from the treated side ({side})."
        raise SettingsError(f"nights: cannot tell what the treatment brings. {why}", remedy=_REMEDY)
    # The source that is heard most often tells the mean best.
    earlier, later = max(told, key=lambda pair: min(map(len, pair)))
    level_u_db = 0.0 if same_recorder else LEVEL_U_DB * float(np.sqrt(2.0))
    return prove_by_door_test(promise, _gain(earlier, later, level_u_db), part)


def _sources(promise: Promise, side: str) -> list[str]:
    """Return the named sources all of whose sounds come from one side."""
    sides: dict[str, set[str]] = {}
    for each in promise.events:
        sides.setdefault(each.source, set()).add(each.origin)
    return [source for source, found in sides.items() if source and found == {side}]


def _not_comparable(before: Sequence[KeptEvent], after: Sequence[KeptEvent]) -> str:
    """Return why sounds before and after cannot be compared; empty if they can."""
    if min(len(before), len(after)) < FEWEST_SOUNDS:
        return f"heard {len(before)} and {len(after)} times, which takes {FEWEST_SOUNDS} each"
    lasts = [float(np.median([event.duration_s for event in each])) for each in (before, after)]
    if max(lasts) > SAME_LENGTH * min(lasts):
        return f"lasts {lasts[0]:.1f} and {lasts[1]:.1f} s, so that it need not be the same sound"
    if any(not event.equivalent_spectrum.nominal_hz for event in (*before, *after)):
        return "a night was assessed by an older version, without the spectra that this takes"
    scatter = [float(np.std([event.lae for event in each], ddof=1)) for each in (before, after)]
    if max(scatter) > WIDEST_DB:
        return f"scatters by {max(scatter):.0f} dB, so that it is no one sound"
    return ""


def _gain(before: Sequence[KeptEvent], after: Sequence[KeptEvent], level_u_db: float) -> DoorGain:
    (mean_before, u_before, unknown), (mean_after, u_after, hidden) = _exposures(before), _exposures(after)
    mean_before = np.where(unknown, np.nan, mean_before)
    u_db = np.sqrt(u_before**2 + u_after**2 + level_u_db**2)
    gain_db = mean_before - mean_after
    return DoorGain(
        before="the nights before",
        after="the nights after",
        nominal_hz=MODEL_BANDS_HZ,
        before_db=mean_before[1:],
        gain_db=gain_db,
        expanded_db=np.where(np.isnan(gain_db), np.nan, COVERAGE_95 * u_db),
        at_least=hidden,
    )


def _exposures(events: Sequence[KeptEvent]) -> tuple[FloatArray, FloatArray, MaskArray]:
    """Return mean sound exposure levels of one source, A-weighted first, with their standard uncertainty.

    Where half of the sounds do not stand clear of the background, it is what they can have at most that
    counts, and the third array says so.
    """
    heard = np.array([energy(on_model_bands(event.equivalent_spectrum)) for event in events])
    beside = np.array([energy(on_model_bands(event.background_spectrum)) for event in events])
    seconds = np.array([[event.duration_s] for event in events])
    clear = heard > CLEAR_TIMES * beside
    # Below the background the difference of both is chance; a band holds at most what is heard in it.
    alone_db = level(seconds * np.where(clear, heard - beside, heard))
    # A recording at a low rate knows nothing of the highest bands.
    weighted = level(np.nansum(energy(alone_db + _WEIGHTING_DB), axis=1, keepdims=True))
    rows = np.concatenate([weighted, alone_db], axis=1)
    hidden = np.concatenate([[False], clear.mean(axis=0) < 0.5])
    return rows.mean(axis=0), rows.std(axis=0, ddof=1) / np.sqrt(len(events)), hidden
