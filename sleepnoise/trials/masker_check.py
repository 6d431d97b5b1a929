"""A masker at the pillow: recorded on and off, and held against its design, band by band.

The background is taken off as ISO 16283-1 allows. Recordings without calibration tell the shape
only: the design is then shifted to where it fits best.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from sleepnoise.acoustics.decibels import FloatArray
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.acoustics.uncertainty import COVERAGE_95, residual_sensitivities
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.provenance import FileMark, Provenance, file_mark, library_versions
from sleepnoise.evidence.reading import KeptDb, first_mistake
from sleepnoise.fieldwork.background import without_background
from sleepnoise.fieldwork.door_test import Reading
from sleepnoise.fieldwork.field import position_mean
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.judgement.uncertainty import POSITION_U_DB
from sleepnoise.masking.offset import CommonOffset, common_offset
from sleepnoise.profiles.door_test import GainEntry
from sleepnoise.recording.calibration import Calibration
from sleepnoise.trials.readings import Listening

SCHEMA_NAME = "sleepnoise/masker"
SCHEMA_VERSION = 1
"""Version of the design's layout. Chosen: rises whenever a reader would have to change."""

BAND_TOLERANCE_DB = 2.0
"""Tolerance of a third octave, dB. Chosen: what masking specifications commonly ask for (common practice,
seen in secondary pages only)."""
LEVEL_TOLERANCE_DB = 1.0
"""Tolerance of the A-weighted level, dB. Chosen: the least difference that is noticed."""
POSITIONS = 5
"""Places around the pillow that are asked for. Chosen: within 0.3 m, as a head moves."""
LARGEST_SPREAD_DB = 3.0
"""Spread of the LAeq of places beyond which a reader is told, dB. Chosen: three times what is expected."""
LOW_BANDS_TO_HZ = 200.0
"""Highest band that differs from place to place as low bands do. Source: the table POSITION_U_DB."""
LARGEST_BYTES = 10_000_000
"""Largest design read. Chosen: far above any."""

Word = Literal["kept", "too loud", "too quiet", "cannot tell"]

_REMEDY = "Give the file that 'sleepnoise design-masker' wrote."


class _Part(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)


class _Schema(_Part):
    name: Literal["sleepnoise/masker"]
    version: Literal[1]


class _Bands(_Part):
    nominal_hz: list[float]
    levels_db: list[KeptDb]


class _File(_Part):
    kind: Annotated[_Schema, Field(alias="schema")]
    spectrum: _Bands


@dataclass(frozen=True, slots=True, kw_only=True)
class RowCheck:
    """One level held against the design: a band, or all of them A-weighted.

    Attributes
    ----------
    nominal_hz : float
        ``nan`` for the A-weighted level.
    design_db, measured_db : float, dB
        Without the background; the design is shifted when only its shape can be told.
    background_db : float, dB
        ``-inf`` if none was recorded.
    at_limit : bool
        The background is so near that the true level may be lower.
    difference_db : float, dB
        Measured less design.
    uncertainty_db : float, dB
        Expanded, k = 2; ``nan`` at the limit.
    tolerance_db : float, dB
    word : {"kept", "too loud", "too quiet", "cannot tell"}
    """

    nominal_hz: float
    design_db: float
    measured_db: float
    background_db: float
    at_limit: bool
    difference_db: float
    uncertainty_db: float
    tolerance_db: float
    word: Word


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskerCheck:
    """What a recording at the pillow says of a masker.

    Attributes
    ----------
    absolute : bool
        Whether levels are known; otherwise the shape only.
    level : RowCheck
        A-weighted; its word is "cannot tell" without calibration.
    bands : tuple of RowCheck
        Those that the design sounds in and the recordings hold.
    offset : CommonOffset or None
        The one change of level that would set all bands right, if there is one.
    used_s : float, s
        Steady time with the masker on.
    positions : int
        Recordings with the masker on.
    spread_db : float, dB
        Between the loudest and the quietest of them, A-weighted; ``nan`` for one.
    remarks : tuple of str
    provenance : Provenance
    """

    absolute: bool
    level: RowCheck
    bands: tuple[RowCheck, ...]
    offset: CommonOffset | None
    used_s: float
    positions: int
    spread_db: float
    remarks: tuple[str, ...]
    provenance: Provenance

    @property
    def failed(self) -> bool:
        """Whether any level is surely outside its tolerance."""
        return any(row.word in ("too loud", "too quiet") for row in (self.level, *self.bands))


def read_design(path: Path) -> tuple[Spectrum, FileMark]:
    """Read the spectrum of a designed masker, and the mark of its file.

    Raises
    ------
    RecordingError
        If it is no such design.
    SettingsError
        If the design is that no masker is needed.
    """
    mark = file_mark(path, "masker design")
    if mark.size_bytes > LARGEST_BYTES:
        raise RecordingError(f"{path}: is too large for a masker's design.", remedy=_REMEDY)
    try:
        file = _File.model_validate_json(path.read_bytes())
    except ValidationError as error:
        raise RecordingError(f"{path}: {first_mistake(error)}.", remedy=_REMEDY) from None
    levels_db = np.array(file.spectrum.levels_db)
    if tuple(file.spectrum.nominal_hz) != MODEL_BANDS_HZ or levels_db.shape != (len(MODEL_BANDS_HZ),):
        raise RecordingError(f"{path}: its spectrum must have one level for each band.", remedy=_REMEDY)
    if not np.isfinite(levels_db).any():
        raise SettingsError(
            f"{path}: this design has no sound: no masker was needed, or none could help.",
            remedy="There is nothing to check.",
        )
    return Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=levels_db), mark


def check_masker(
    design_file: Path,
    on: Sequence[Path],
    off: Sequence[Path],
    gain: GainEntry,
    *,
    channel: int = 1,
    same_recorder: bool = False,
    on_progress: Callable[[float], None] = lambda _share: None,
) -> MaskerCheck:
    """Hold recordings at the pillow against a design.

    Parameters
    ----------
    design_file : Path
        From ``design-masker``.
    on, off : sequence of Path
        Recordings with the masker on, one for each place around the pillow, and with it off.
    gain : GainEntry
        What calibrates them; nothing, if it holds nothing.
    channel : int, optional
        From 1.
    same_recorder : bool, optional
        Whether recorder and calibration are those of the night: their error is then in the design,
        too, and does not count.
    on_progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    SleepNoiseError
        For everything that a user can cause.
    """
    design, mark = read_design(design_file)
    if not on or not off:
        raise SettingsError(
            "masker: recordings with the masker on and with it off are needed.",
            remedy="Record half a minute of each at the pillow, with nobody in bed.",
        )
    done = iter(range(1, 1 + len(on) + len(off)))
    listening = Listening(Path(), False, lambda: on_progress(next(done) / (len(on) + len(off))))
    calibration = listening.calibration(gain, channel)
    heard = [listening.recorded(str(path), calibration, channel, "masker on") for path in on]
    quiet = [
        listening.recorded(str(path), calibration, channel, "masker off", background=True) for path in off
    ]
    own_db = 0.0 if same_recorder else calibration.expanded_uncertainty_db / COVERAGE_95
    rows = _rows(design, _levels(design, heard, quiet), own_db, absolute=calibration.absolute)
    laeq_db = np.array([reading.levels_db[0] for reading in heard])
    spread_db = float(np.ptp(laeq_db)) if laeq_db.size > 1 else math.nan
    return MaskerCheck(
        absolute=calibration.absolute,
        level=rows[0],
        bands=rows[1:],
        offset=_offset(rows[1:]) if calibration.absolute else None,
        used_s=sum(reading.used_s for reading in heard),
        positions=len(on),
        spread_db=spread_db,
        remarks=(
            *listening.remarks,
            *_remarks(rows, len(on), spread_db, calibration, same_recorder=same_recorder),
        ),
        provenance=Provenance(inputs=(mark, *listening.inputs), versions=library_versions()),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Levels:
    """LAeq and band levels, shape (1 + bands,), dB: with masker, without, and u of the former."""

    bands_hz: tuple[float, ...]
    measured_db: FloatArray
    background_db: FloatArray
    u_db: FloatArray


def _levels(design: Spectrum, on: Sequence[Reading], off: Sequence[Reading]) -> _Levels:
    sounding = {hz for hz, db in zip(design.nominal_hz, design.levels_db, strict=True) if np.isfinite(db)}
    bands_hz = tuple(sorted(sounding.intersection(*(each.nominal_hz for each in (*on, *off)))))
    if not bands_hz:
        raise RecordingError(
            "masker: the recordings hold no band in which the design sounds.",
            remedy="Record at 44.1 or 48 kHz, without loss.",
        )

    def rows(readings: Sequence[Reading], name: Literal["levels_db", "u_db"]) -> FloatArray:
        places = [[0, *(1 + each.nominal_hz.index(hz) for hz in bands_hz)] for each in readings]
        return np.array([getattr(each, name)[place] for each, place in zip(readings, places, strict=True)])

    on_db = rows(on, "levels_db")
    fluctuation_db = np.sqrt(np.mean(rows(on, "u_db") ** 2, axis=0) / len(on))
    return _Levels(
        bands_hz=bands_hz,
        measured_db=position_mean(on_db),
        background_db=position_mean(rows(off, "levels_db")),
        u_db=np.hypot(fluctuation_db, _position_u_db(on_db, bands_hz)),
    )


def _position_u_db(on_db: FloatArray, bands_hz: tuple[float, ...]) -> FloatArray:
    """Return u of the mean over places: from their spread, or what is usual for a single one."""
    if len(on_db) > 1:
        return np.asarray(on_db.std(axis=0, ddof=1) / math.sqrt(len(on_db)))
    low_db, others_db = POSITION_U_DB["low bands"], POSITION_U_DB["weighted"]
    return np.array([others_db, *(low_db if hz <= LOW_BANDS_TO_HZ else others_db for hz in bands_hz)])


def _rows(design: Spectrum, levels: _Levels, own_db: float, *, absolute: bool) -> tuple[RowCheck, ...]:
    corrected = without_background(levels.measured_db, levels.background_db)
    wanted_db = np.array([design.weighted_level("A"), *design.on_bands(levels.bands_hz).levels_db])
    if not absolute:
        usable = ~corrected.at_limit[1:]
        apart_db = (corrected.levels_db - wanted_db)[1:][usable]
        wanted_db = wanted_db + (apart_db.mean() if usable.any() else math.nan)
    of_level, _ = residual_sensitivities(levels.measured_db, levels.background_db)
    u_db = np.hypot(of_level * levels.u_db, own_db if absolute else 0.0)
    expanded_db = np.where(corrected.at_limit, math.nan, COVERAGE_95 * u_db)
    return tuple(
        _row(
            nominal_hz=hz,
            design_db=float(wanted_db[place]),
            measured_db=float(corrected.levels_db[place]),
            background_db=float(levels.background_db[place]),
            at_limit=bool(corrected.at_limit[place]),
            uncertainty_db=float(expanded_db[place]),
            known=absolute or place > 0,
        )
        for place, hz in enumerate((math.nan, *levels.bands_hz))
    )


def _offset(bands: Sequence[RowCheck]) -> CommonOffset | None:
    return common_offset(
        np.array([row.difference_db for row in bands]),
        np.array([row.uncertainty_db for row in bands]),
        tolerance_db=BAND_TOLERANCE_DB,
        least_db=LEVEL_TOLERANCE_DB,
    )


def _row(*, known: bool, **levels: Any) -> RowCheck:
    """Return a row with its word: kept or missed only beyond the uncertainty."""
    difference_db = levels["measured_db"] - levels["design_db"]
    tolerance_db = LEVEL_TOLERANCE_DB if math.isnan(levels["nominal_hz"]) else BAND_TOLERANCE_DB
    word: Word = "cannot tell"
    # Both comparisons are false where the uncertainty is not known.
    if known and abs(difference_db) + levels["uncertainty_db"] <= tolerance_db:
        word = "kept"
    elif known and abs(difference_db) - levels["uncertainty_db"] > tolerance_db:
        word = "too loud" if difference_db > 0 else "too quiet"
    return RowCheck(difference_db=difference_db, tolerance_db=tolerance_db, word=word, **levels)


def _remarks(
    rows: Sequence[RowCheck],
    positions: int,
    spread_db: float,
    calibration: Calibration,
    *,
    same_recorder: bool,
) -> Iterator[str]:
    if not calibration.absolute:
        yield (
            "The recordings have no calibration: they tell the shape only, and the design was shifted to "
            "where it fits best. Set the level with a sound level meter, or calibrate."
        )
    elif not same_recorder:
        yield (
            "The calibration's uncertainty is counted. If recorder and calibration are those of the night, "
            "it is in the design already: say so (--same-recorder)."
        )
    if positions < POSITIONS:
        yield (
            f"{positions} of {POSITIONS} places around the pillow were recorded. Low bands differ by several "
            "decibels within a hand's breadth: record each place (within 0.3 m) and give all of them."
        )
    if spread_db > LARGEST_SPREAD_DB:
        yield (
            f"The places differ by {spread_db:.1f} dB(A). Turn or move the loudspeakers until it is under "
            f"{LARGEST_SPREAD_DB:g} dB."
        )
    if any(row.at_limit for row in rows):
        yield (
            "Where the masker lies 6 dB or less above the background, ISO 16283-1 allows 1.3 dB off and no "
            "more: there nothing can be told. Record at a quieter hour; raising the masker is no cure."
        )
