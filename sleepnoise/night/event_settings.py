"""What counts as an event: every threshold and time, its default and the reason for it."""

from dataclasses import dataclass, fields
from math import isfinite

from sleepnoise.errors import SettingsError

ONSET_DB = 6.0
"""Chosen: four times the energy of the background, so plainly heard; weaker sounds go under in it."""
RELEASE_DB = 3.0
"""Chosen: where event and background have equal energy; below it the background decides the level."""
SCATTER_ONSET = 8.0
"""Chosen: in eight hours of Gaussian noise of 7 to 230 Hz bandwidth the highest was 5.9 to 7.9 (tested)."""
SCATTER_RELEASE = 4.0
"""Chosen: nine of ten maxima of such noise lie below 3.8, so that an event ends when its sound does."""
MIN_LENGTH_S = 0.125
"""Chosen: one tick, because a door slam is an event; scatter is kept out by its own threshold."""
MERGE_GAP_S = 3.0
"""Chosen: longer than the pauses between footsteps or phrases, shorter than those between passages."""
SPLIT_DB = 10.0
"""Chosen: between two sounds the level falls so far that each is plainly heard by itself; phrases of speech
and gusts fall by less, or are the same sound."""
SERIES_GAP_S = 10.0
"""Chosen: a dog that barks every few seconds is one event; a door that bangs twice a minute is not."""
BACKGROUND_MINUTES = 5.0
"""Chosen: long enough for a steady LA90 between events, short enough to follow rain or evening traffic."""
STEADY_S = 90.0
"""Chosen: longer than one passage, shorter than the run of a condenser or fan (common practice)."""
STEADY_STEP_DB = 8.0
"""Chosen: above the 3 to 6 dB of a cycling hum with its scatter, below a van that idles at the window."""
MAX_LENGTH_MINUTES = 15.0
"""Chosen: an unloading or a shower is over by then, a level that is still up has come to stay."""
SETTLED_S = 30.0
"""Chosen: about 120 independent F-weighted readings, so that LA90 is known to a few tenths of a dB."""
SAME_BACKGROUND_DB = 1.5
"""Chosen: more than the moving background wanders over steady noise, less than a hum that switches."""

_ALLOWED = {
    "onset_db": (1.0, 40.0), "release_db": (0.5, 40.0), "scatter_onset": (0.0, 20.0),
    "scatter_release": (0.0, 20.0), "min_length_s": (0.125, 60.0), "merge_gap_s": (0.0, 60.0),
    "split_db": (3.0, 60.0), "series_gap_s": (0.0, 60.0),
    "background_minutes": (1.0, 60.0), "steady_s": (15.0, 600.0), "steady_step_db": (0.0, 40.0),
    "max_length_minutes": (2.0, 120.0), "settled_s": (1.0, 600.0), "same_background_db": (0.5, 20.0),
}  # fmt: skip
"""Lowest and highest value of each. Chosen: outside of these the search for events does not work as told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventSettings:
    """When a level stands out, and when it has become background.

    Thresholds are over the moving background, an LA90. Raise ``onset_db`` for fewer events.

    Attributes
    ----------
    onset_db : float, dB
        An event reaches at least this far above the background ...
    release_db : float, dB
        ... and lasts from where its level comes above this to where it falls below.
    scatter_onset, scatter_release : float
        The same two thresholds as multiples of the standard deviation by which F-weighted
        levels of a steady background scatter; the higher one of each pair holds.
    min_length_s : float, s
        Shorter events are dropped.
    merge_gap_s : float, s
        Exceedances no further apart are one event ...
    split_db : float, dB
        ... unless the level falls so far between two sounds with different spectra.
    series_gap_s : float, s
        Brief sounds that are alike and no further apart are one series.
    background_minutes : float, min
        Event-free time before an event from which its LA90 is taken.
    steady_s : float, s
        A level that stays up longer than this ...
    steady_step_db : float, dB
        ... and has risen no more than this within ``background_minutes`` is background from
        its beginning: hum and fans that switch, rain, traffic that grows.
    max_length_minutes : float, min
        A level that rose further becomes background once it has stayed up so long.
    settled_s : float, s
        With less event-free time before it, an event's background is not settled.
    same_background_db : float, dB
        Time before an event counts only if its moving background differed by no more.

    Raises
    ------
    SettingsError
        If a value lies outside what is allowed, or ``release_db`` above ``onset_db``.
    """

    onset_db: float = ONSET_DB
    release_db: float = RELEASE_DB
    scatter_onset: float = SCATTER_ONSET
    scatter_release: float = SCATTER_RELEASE
    min_length_s: float = MIN_LENGTH_S
    merge_gap_s: float = MERGE_GAP_S
    split_db: float = SPLIT_DB
    series_gap_s: float = SERIES_GAP_S
    background_minutes: float = BACKGROUND_MINUTES
    steady_s: float = STEADY_S
    steady_step_db: float = STEADY_STEP_DB
    max_length_minutes: float = MAX_LENGTH_MINUTES
    settled_s: float = SETTLED_S
    same_background_db: float = SAME_BACKGROUND_DB

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            low, high = _ALLOWED[field.name]
            if not (isfinite(value) and low <= value <= high):
                raise SettingsError(
                    f"event settings: {field.name} must lie between {low:g} and {high:g}, got {value:g}.",
                    remedy=f"Choose a value in this range; the default is {field.default:g}.",
                )
        for lower, upper in (("release_db", "onset_db"), ("scatter_release", "scatter_onset")):
            if getattr(self, lower) > getattr(self, upper):
                raise SettingsError(
                    f"event settings: {lower} must not lie above {upper}, "
                    f"got {getattr(self, lower):g} and {getattr(self, upper):g}.",
                    remedy=f"Lower {lower} or raise {upper}.",
                )
