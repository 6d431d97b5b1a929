"""What a plan has to decide: events, ways into the room with their treatments, maskers and wishes.

Sound that comes by different paths adds up as energy. So what is left of a sound is a sum over the
groups of paths, and each group contributes by the option that is chosen for it alone: interactions of
treatments stay within a group, where every combination is an option of its own.

Arrays end in the bands of ``MODEL_BANDS_HZ``. Shares are parts of the energy that is heard in the
room as it is.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sleepnoise.acoustics.decibels import FloatArray, energy
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.errors import SettingsError
from sleepnoise.hearing.ageing import Listener
from sleepnoise.hearing.audibility import INAUDIBLE_DB, MODEL_BANDS_HZ, ear_noise_of
from sleepnoise.masking.alarm import Pitch
from sleepnoise.masking.limits import DEFAULT_CAP_DBA, LOWEST_LEVEL_DBA, check_masker_level
from sleepnoise.masking.masker import MaskerShape

IntArray = NDArray[np.int64]

MARGIN_RANGE_DB = (-15.0, 15.0)
"""Margins that may be aimed at. Chosen: from five times the model's uncertainty below the limit of hearing to
just above "not noticeable"."""

STEP_RANGE_DB = (0.1, 5.0)
"""Spacings of masker levels. Chosen: 0.1 dB is finer than anyone can set, 5 dB is coarse enough to hear."""

MASKER_WORTH = 20.0
"""Money that 1 dB(A) less of masker is worth. Chosen: a masker of 35 dB(A) then weighs as much as a new door
leaf, for what keeps noise out is to come first; the user may say otherwise."""

YOUNG_ADULT = Listener()
"""Whose ears audibility is judged by unless told otherwise. Chosen: the most sensitive ones: safe."""

A_WEIGHTS = energy(band_weighting_db(MODEL_BANDS_HZ))
"""A-weighting of the model's bands as factors of energy. Source: IEC 61672-1."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedEvents:
    """Events of one or many nights, each alone and with its background.

    Attributes
    ----------
    names : tuple of str
    sources : tuple of str
        What is heard, such as a label; events of the same source come the same way. Empty when unknown.
    nights : ndarray of int, shape (events,)
        From 0.
    origin : ndarray of int, shape (events,)
        Number of the origin in ``Problem.origins``.
    signal_db : ndarray, shape (events, bands), dB
        The event alone; ``-inf`` where nothing is known.
    background_db : ndarray, shape (events, bands), dB
    max_dba, exposure_dba : ndarray, shape (events,), dB(A)
        LAFmax and LAE of the event alone.
    moments : ndarray, shape (events, moments, bands)
        Moments that may be the loudest behind a loss: A-weighted energies of the event alone, as parts of
        that of its LAFmax. An event with fewer moments than another has zeros.
    exposed : ndarray, shape (events, bands)
        How the A-weighted energy of its LAE is spread; rows add up to 1, or to 0 for silence.
    max_u_db : ndarray, shape (events,), dB
        How well LAFmax behind a loss is known from these moments, standard uncertainty.
    """

    names: tuple[str, ...]
    sources: tuple[str, ...]
    nights: IntArray
    origin: IntArray
    signal_db: FloatArray
    background_db: FloatArray
    max_dba: FloatArray
    exposure_dba: FloatArray
    moments: FloatArray
    exposed: FloatArray
    max_u_db: FloatArray

    @property
    def count(self) -> int:
        """Number of events."""
        return len(self.names)

    def picked(self, rows: IntArray) -> "PlannedEvents":
        """Return some of the events, in the order given."""
        return PlannedEvents(
            names=tuple(self.names[row] for row in rows),
            sources=tuple(self.sources[row] for row in rows),
            nights=self.nights[rows],
            origin=self.origin[rows],
            signal_db=self.signal_db[rows],
            background_db=self.background_db[rows],
            max_dba=self.max_dba[rows],
            exposure_dba=self.exposure_dba[rows],
            moments=self.moments[rows],
            exposed=self.exposed[rows],
            max_u_db=self.max_u_db[rows],
        )

    def kept_of_maxima(self, sound: FloatArray) -> FloatArray:
        """Return which part of each LAFmax is left, shape (events,), of what is left of each origin.

        Parameters
        ----------
        sound : ndarray, shape (origins, bands)
        """
        return np.asarray(np.einsum("emi,ei->em", self.moments, sound[self.origin]).max(axis=1, initial=0.0))

    def kept_of_exposures(self, sound: FloatArray) -> FloatArray:
        """Return which part of each LAE is left, shape (events,); see :meth:`kept_of_maxima`."""
        return np.asarray(np.einsum("ei,ei->e", self.exposed, sound[self.origin]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One thing that may be done to a group of paths.

    The first option of a group is nothing, or what was required.

    Attributes
    ----------
    treatments, titles : tuple of str
        Keys and titles; both empty for nothing.
    money : float
    guessed : bool
        Whether a part of the money is only an order of magnitude.
    spread_db : float, dB
        How far published values of what it does differ.
    notes : tuple of str
        What has to be seen to before.
    """

    treatments: tuple[str, ...] = ()
    titles: tuple[str, ...] = ()
    money: float = 0.0
    guessed: bool = False
    spread_db: float = 0.0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PathGroup:
    """Paths that are treated together, usually those of one door, window or wall.

    Attributes
    ----------
    key, title : str
    options : tuple of Option
    paths : tuple of str
        In words.
    path_u_db : ndarray, shape (paths,), dB
        Standard uncertainty of what each lets through.
    tested_u_db : float or None, dB
        Standard uncertainty of all paths together, where a door test told it.
    share : ndarray, shape (paths, origins, bands)
        Part of each origin's sound that comes this way now.
    background : ndarray, shape (paths, bands)
        Part of the background that does.
    alarm : ndarray, shape (paths, bands)
        Part of the alarm that does, by the band in which it sounds.
    factor : ndarray, shape (options, paths, bands)
        What an option leaves of it; ones for one that does nothing.
    """

    key: str
    title: str
    options: tuple[Option, ...]
    paths: tuple[str, ...]
    path_u_db: FloatArray
    tested_u_db: float | None
    share: FloatArray
    background: FloatArray
    alarm: FloatArray
    factor: FloatArray

    def with_options(self, kept: list[int]) -> "PathGroup":
        """Return the group with some of its options, by number."""
        options = tuple(self.options[number] for number in kept)
        return replace(self, options=options, factor=self.factor[kept])

    @property
    def carried(self) -> FloatArray:
        """What each option lets in of each origin, shape (options, origins, bands)."""
        return np.asarray(np.einsum("poi,kpi->koi", self.share, self.factor))

    @property
    def background_carried(self) -> FloatArray:
        """What each option lets in of the background, shape (options, bands)."""
        return np.asarray(np.einsum("pi,kpi->ki", self.background, self.factor))

    @property
    def alarm_carried(self) -> FloatArray:
        """What each option lets in of the alarm, shape (options,)."""
        return np.asarray(np.einsum("pi,kpi->k", self.alarm, self.factor))

    def with_nothing(self) -> "PathGroup":
        """Return the group with nothing as its first option, also where something is required."""
        if not self.options[0].treatments:
            return self
        factor = np.concatenate([np.ones_like(self.factor[:1]), self.factor])
        return replace(self, options=(Option(), *self.options), factor=factor)

    @property
    def money(self) -> FloatArray:
        """Money for each option, shape (options,)."""
        return np.array([option.money for option in self.options])


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What a plan is asked to reach, and what it may use.

    Attributes
    ----------
    margin_db : float, dB
        Audibility margin that events must stay below: 0 is the limit of hearing them.
    events_allowed : int
        Events that may stay audible, of all nights together.
    budget : float
        Money; infinite when left open.
    cap_dba : float, dB(A)
        Loudest masker.
    masker_step_db : float, dB
    masker_worth : float
        Money that 1 dB(A) less of masker is worth.
    laeq_limit_dba, lafmax_limit_dba : float, dB(A)
        Levels that a guideline asks for, masker included; infinite when none does.
    lafmax_allowed : int
        Events that may exceed the second, of all nights together.
    alarm_floor_dba : float, dB(A)
        Level that the alarm must keep at the pillow; ``-inf`` when it is only told.

    Raises
    ------
    SettingsError
        If one of them is out of range.
    """

    margin_db: float = INAUDIBLE_DB
    events_allowed: int = 0
    budget: float = np.inf
    cap_dba: float = DEFAULT_CAP_DBA
    masker_step_db: float = 1.0
    masker_worth: float = MASKER_WORTH
    laeq_limit_dba: float = np.inf
    lafmax_limit_dba: float = np.inf
    lafmax_allowed: int = 0
    alarm_floor_dba: float = -np.inf

    def __post_init__(self) -> None:
        _check("margin", self.margin_db, *MARGIN_RANGE_DB, "dB")
        _check("masker step", self.masker_step_db, *STEP_RANGE_DB, "dB")
        for name, value in (
            ("events allowed", self.events_allowed),
            ("budget", self.budget),
            ("worth of a masker's decibel", self.masker_worth),
            ("events allowed above LAFmax", self.lafmax_allowed),
        ):
            _check(name, value, 0.0, np.inf, "")
        check_masker_level(self.cap_dba, "masker cap")
        _check("masker cap", self.cap_dba, LOWEST_LEVEL_DBA, np.inf, "dB(A)")

    @property
    def levels_dba(self) -> FloatArray:
        """Masker levels to choose from, rising, shape (levels,), dB(A); the last is the cap."""
        steps = int(np.ceil((self.cap_dba - LOWEST_LEVEL_DBA) / self.masker_step_db - 1e-9))
        below_cap = LOWEST_LEVEL_DBA + self.masker_step_db * np.arange(steps)
        return np.concatenate([below_cap, [self.cap_dba]])

    def score(self, money: float, level_dba: float) -> float:
        """Return what is made as small as possible: money, and the masker's level at its worth."""
        return money + (self.masker_worth * level_dba if level_dba > -np.inf else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """Everything that a plan follows from.

    Attributes
    ----------
    events : PlannedEvents
    origins : tuple of str
        Where events come from.
    odds : ndarray, shape (origins, origins)
        How likely a sound of one origin in truth has another; rows add up to 1.
    groups : tuple of PathGroup
    fixed : ndarray, shape (origins, bands)
        Part of each origin's sound that no treatment touches.
    background_fixed : ndarray, shape (bands,)
        Part of the background that is made in the room, or comes by ways that nothing is done to.
    night_background_db : ndarray, shape (bands,), dB
        Equivalent level of the background over all nights.
    seconds : float, s
        Length of all nights together.
    alarm_dba : float, dB(A)
        Alarm at the pillow as the room is; ``nan`` when unknown.
    alarm_fixed : float
        Part of it that no treatment touches; 1 for one in the bedroom.
    shapes : tuple of MaskerShape
        As far as the loudspeaker plays them.
    shaped : bool
        Whether a masker may also be shaped to the events.
    played : ndarray of bool, shape (bands,)
        Bands that the loudspeaker plays.
    wish : Wish
    listener : Listener
        Whose ears audibility is judged by.
    alarm_pitch : {"high", "low"} or None
        Which kind of smoke alarm there is; ``None`` when nobody said.
    """

    events: PlannedEvents
    origins: tuple[str, ...]
    odds: FloatArray
    groups: tuple[PathGroup, ...]
    fixed: FloatArray
    background_fixed: FloatArray
    night_background_db: FloatArray
    seconds: float
    alarm_dba: float
    alarm_fixed: float
    shapes: tuple[MaskerShape, ...]
    shaped: bool
    played: NDArray[np.bool_]
    wish: Wish
    listener: Listener = YOUNG_ADULT
    alarm_pitch: Pitch | None = None

    @property
    def ear_noise_db(self) -> FloatArray:
        """The listener's own noise, shape (bands,), dB."""
        return ear_noise_of(self.listener)

    def with_nothing(self) -> "Problem":
        """Return the problem with nothing as the first option of every group, whatever is required."""
        return replace(self, groups=tuple(group.with_nothing() for group in self.groups))

    def choice_with_nothing(self, choice: Sequence[int]) -> tuple[int, ...]:
        """Return the numbers that a choice has in that problem."""
        return tuple(
            number + bool(group.options[0].treatments)
            for number, group in zip(choice, self.groups, strict=True)
        )

    @property
    def combinations(self) -> int:
        """In how many ways one option can be chosen for each group."""
        return int(np.prod([len(group.options) for group in self.groups], dtype=np.float64))

    @property
    def nothing(self) -> tuple[int, ...]:
        """The first option of every group: nothing is done beyond what is required."""
        return (0,) * len(self.groups)


def _check(name: str, value: float, lowest: float, highest: float, unit: str) -> None:
    if not lowest <= value <= highest:
        allowed = f"be {lowest:g} or more" if highest == np.inf else f"lie between {lowest:g} and {highest:g}"
        raise SettingsError(
            f"{name}: must {allowed} {unit}".rstrip() + f", got {value:g}.",
            remedy="Give a value within that range.",
        )
