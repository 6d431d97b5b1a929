"""A door test before and after the work, held against what the plan promised; and the plan made anew.

The test has a steady noise behind the part that was treated. What it lost between the two steps is what
the plan takes off a sound from that side, by all that is done on it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.decibels import FloatArray, combine, energy
from sleepnoise.acoustics.uncertainty import COVERAGE_95
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.provenance import file_mark
from sleepnoise.evidence.reading import KeptDb, first_mistake
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.isolation.door_test import LEAST_SHARE
from sleepnoise.planning.outcome import left_over
from sleepnoise.planning.problem import PathGroup, Problem
from sleepnoise.proving.held import Held, Word, held
from sleepnoise.proving.promise import Promise, TreatedPart

LARGEST_BYTES = 20_000_000
"""Largest file read. Chosen: hundreds of readings in bands take 1 MB."""

BY_CHANCE = 3
"""Bands that may miss by chance. Chosen: of 28, each doing so in 2.5 %, more do in 1 % of tests."""

_REMEDY = "Give what 'sleepnoise door-test --json' printed, with a step before the work and one after it."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DoorGain:
    """What a door test says of the work between two of its steps.

    Attributes
    ----------
    before, after : str
        Titles of both steps.
    nominal_hz : tuple of float
        Third octaves that were measured.
    before_db : ndarray, shape (bands,), dB
        Heard before.
    gain_db, expanded_db : ndarray, shape (1 + bands,), dB
        A-weighted first.
    at_least : ndarray of bool, same shape
        The background decided the level afterwards: the gain is at least this.
    """

    before: str
    after: str
    nominal_hz: tuple[float, ...]
    before_db: FloatArray
    gain_db: FloatArray
    expanded_db: FloatArray
    at_least: np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DoorProof:
    """A door test held against a plan.

    Attributes
    ----------
    part : TreatedPart
    gain : DoorGain
    overall : Held
        The A-weighted gain; promised from the spectrum that was heard before.
    bands : tuple of Held
    """

    part: TreatedPart
    gain: DoorGain
    overall: Held
    bands: tuple[Held, ...]

    @property
    def word(self) -> Word:
        """Whether the promise was kept: of all together, and of the bands but a few."""
        broken = sum(each.word == "not kept" for each in self.bands)
        return "not kept" if broken > BY_CHANCE else self.overall.word


class _Part(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)


class _Schema(_Part):
    name: Literal["sleepnoise/door-test"]
    version: Literal[1]


class _Gain(_Part):
    gain_db: list[KeptDb]
    at_least: list[bool]
    expanded_uncertainty_db: list[KeptDb]


class _Step(_Part):
    title: Annotated[str, Field(max_length=200)]
    corrected_db: list[KeptDb]
    gain_since: _Gain | None


class _File(_Part):
    kind: Annotated[_Schema, Field(alias="schema")]
    nominal_hz: list[float]
    since_step: Annotated[int, Field(ge=1)]
    steps: list[_Step]


def read_door_gain(path: Path) -> DoorGain:
    """Read what a door test says of the work between the step its totals count from and its last one.

    Raises
    ------
    RecordingError
        If there is no such file.
    SettingsError
        If it is no door test in third octaves, or has no step after the one that totals count from.
    """
    if file_mark(path, "door test").size_bytes > LARGEST_BYTES:
        raise SettingsError(f"{path}: is too large for a door test.", remedy=_REMEDY)
    try:
        file = _File.model_validate_json(path.read_bytes())
    except ValidationError as error:
        raise SettingsError(f"{path}: {first_mistake(error)}.", remedy=_REMEDY) from None
    gain = file.steps[-1].gain_since if file.steps else None
    if gain is None or file.since_step > len(file.steps):
        raise SettingsError(f"{path}: has no step after the one that totals count from.", remedy=_REMEDY)
    before, rows = file.steps[file.since_step - 1], 1 + len(file.nominal_hz)
    columns = (before.corrected_db, gain.gain_db, gain.at_least, gain.expanded_uncertainty_db)
    places = [NOMINAL_HZ.index(hz) for hz in file.nominal_hz if hz in NOMINAL_HZ]
    neighbours = bool(places) and places == list(range(places[0], places[0] + rows - 1))
    if not neighbours or any(len(column) != rows for column in columns):
        raise SettingsError(
            f"{path}: a plan is held against third octaves, and this door test has none.",
            remedy="Record the steps, and evaluate them without --octaves.",
        )
    return DoorGain(
        before=before.title,
        after=file.steps[-1].title,
        nominal_hz=tuple(file.nominal_hz),
        before_db=np.array(before.corrected_db[1:]),
        gain_db=np.array(gain.gain_db),
        expanded_db=np.array(gain.expanded_uncertainty_db),
        at_least=np.array(gain.at_least),
    )


def prove_by_door_test(promise: Promise, gain: DoorGain, part: str | None = None) -> DoorProof:
    """Hold a door test against a plan.

    Parameters
    ----------
    promise : Promise
    gain : DoorGain
    part : str, optional
        Key of the part that was tested; may be left out when the plan treats only one.

    Raises
    ------
    SettingsError
        If the plan does not treat that part, or several and none was named.
    """
    treated = treated_part(promise, part)
    side = promise.sides.index(treated.side)
    rows = [MODEL_BANDS_HZ.index(hz) for hz in gain.nominal_hz if hz in MODEL_BANDS_HZ]
    heard = [place for place, hz in enumerate(gain.nominal_hz) if hz in MODEL_BANDS_HZ]
    loss_db, u_db = promise.loss_db[side, rows], promise.loss_u_db[side, rows]
    weighted = gain.before_db[heard] + band_weighting_db(tuple(gain.nominal_hz[place] for place in heard))
    known = ~np.isnan(weighted)
    left_db = weighted[known] - loss_db[known]
    overall_db = float(combine(weighted[known]) - combine(left_db))
    share = energy(left_db - combine(left_db))
    # Treatments err in all bands alike, so that their errors add up rather than cancel.
    overall_u_db = float(np.sum(share * u_db[known]))
    return DoorProof(
        part=treated,
        gain=gain,
        overall=_held("gain, A-weighted", overall_db, overall_u_db, gain, 0),
        bands=tuple(
            _held(f"{gain.nominal_hz[place]:g} Hz", float(loss), float(u), gain, 1 + place)
            for place, loss, u in zip(heard, loss_db, u_db, strict=True)
        ),
    )


def treated_part(promise: Promise, part: str | None) -> TreatedPart:
    """Return the part of the room that a measurement tells about.

    Raises
    ------
    SettingsError
        If the plan does not treat that part, or several and none was named.
    """
    found = [each for each in promise.treated if part in (None, each.key)]
    if len(found) != 1:
        keys = ", ".join(each.key for each in promise.treated) or "none"
        raise SettingsError(
            f"door test: the plan treats {keys}; "
            + ("which was tested?" if part is None else f"not {part}."),
            remedy="Name one of them with --part." if promise.treated else "Plan a treatment first.",
        )
    return found[0]


def _held(name: str, promised_db: float, u_db: float, gain: DoorGain, row: int) -> Held:
    """Hold a gain, of which more is better, against its promise."""
    measured_db, measured_u_db = float(gain.gain_db[row]), float(gain.expanded_db[row]) / COVERAGE_95
    # A level afterwards is held: what is left of a promised gain.
    found = held(name, 0.0, -promised_db, -measured_db, [u_db, measured_u_db], both_ways=False)
    word, reason = found.word, found.reason
    if gain.at_least[row] and word == "not kept":
        word, reason = "cannot tell", "The background hid the rest: the gain may be larger than was measured."
    return replace(found, promised=promised_db, measured=measured_db, word=word, reason=reason)


def problem_as_tested(problem: Problem, promise: Promise, proof: DoorProof) -> Problem:
    """Return the plan's problem with the treated part as it was measured.

    Every option of the part that holds what was tested lets in more or less by what was measured; in bands
    that were not measured the nearest one holds.

    Raises
    ------
    SettingsError
        If the problem has no such option.
    """
    treated, side = proof.part, problem.origins.index(proof.part.side)
    choice = [_number_of(group, promise) for group in problem.groups]
    place = next(number for number, group in enumerate(problem.groups) if group.key == treated.key)
    group = problem.groups[place]
    own = group.carried[choice[place]][side]
    others = left_over(problem, choice)[0][side] - own
    measured = energy(-_on_model_bands(proof, promise.loss_db[promise.sides.index(treated.side)]))
    found = np.maximum(measured - others, LEAST_SHARE * measured)
    ratio = np.divide(found, own, out=np.ones_like(own), where=own > 0.0)
    tested = [set(treated.treatments) <= set(option.treatments) for option in group.options]
    factor = np.where(np.array(tested)[:, None, None], group.factor * ratio, group.factor)
    u_db = float(proof.gain.expanded_db[0]) / COVERAGE_95
    options = tuple(
        replace(option, spread_db=u_db) if own_option else option
        for option, own_option in zip(group.options, tested, strict=True)
    )
    groups = list(problem.groups)
    groups[place] = replace(group, factor=factor, options=options)
    return replace(problem, groups=tuple(groups))


def _number_of(group: PathGroup, promise: Promise) -> int:
    wanted: Sequence[str] = next((each.treatments for each in promise.treated if each.key == group.key), ())
    for number, option in enumerate(group.options):
        if option.treatments == tuple(wanted):
            return number
    raise SettingsError(
        f"plan: what it does to {group.key} is no longer among what may be done.",
        remedy="Plan again with the room file and the treatments as they are now.",
    )


def _on_model_bands(proof: DoorProof, promised_db: FloatArray) -> FloatArray:
    """Return the measured loss; in bands not measured the promised one, moved as the nearest measured one."""
    rows = [MODEL_BANDS_HZ.index(hz) for hz in proof.gain.nominal_hz if hz in MODEL_BANDS_HZ]
    moved = np.array([row.measured - row.promised for row in proof.bands])
    known = ~np.isnan(moved)
    if not known.any():
        raise SettingsError(
            "door test: tells no band in which the plan could be made anew.",
            remedy="Repeat it with a steady noise that is heard in the room with the door closed.",
        )
    places = np.array(rows)[known]
    moved = np.interp(np.arange(len(MODEL_BANDS_HZ)), places, moved[known])
    return np.asarray(promised_db + moved)
