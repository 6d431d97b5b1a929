"""A night that was assessed before, read back from its folder: events, background, values it is held to."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.provenance import FileMark, file_mark
from sleepnoise.evidence.reading import MOST_DB, KeptCount, KeptDb, KeptSeconds, first_mistake
from sleepnoise.recording.calibration import shown_name

FILE_NAME = "assessment.json"
LARGEST_BYTES = 200_000_000
"""Largest file read. Chosen: ten thousand events take 80 MB."""

_REMEDY = "Give the folder that 'sleepnoise assess' wrote, or assess the night again."


class _Part(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)


class _Bands(_Part):
    nominal_hz: list[float]
    levels_db: list[KeptDb]

    def spectrum(self) -> Spectrum:
        return Spectrum(nominal_hz=tuple(self.nominal_hz), levels_db=np.array(self.levels_db))


class _Event(_Part):
    event: Annotated[KeptCount, Field(ge=1)]
    start_local: Annotated[str, Field(max_length=40)]
    duration_s: KeptSeconds
    lafmax: Annotated[KeptDb, Field(alias="LAFmax_dB")]
    lae: Annotated[KeptDb, Field(alias="LAE_dB")]
    label: Annotated[str, Field(max_length=200)] = ""
    group: Annotated[str, Field(max_length=200)] = ""
    max_spectrum: _Bands
    background_spectrum: _Bands
    spectrum_at_max: _Bands = _Bands(nominal_hz=[], levels_db=[])
    loudest_moments: Annotated[list[_Bands], Field(max_length=100)] = []
    equivalent_spectrum: _Bands = _Bands(nominal_hz=[], levels_db=[])

    @property
    def spectra(self) -> list[_Bands]:
        at_once = [self.max_spectrum, self.background_spectrum, self.spectrum_at_max]
        return [*at_once, self.equivalent_spectrum, *self.loudest_moments]


class _Criterion(_Part):
    guideline: str
    title: str
    quantity: str
    where: str
    over: str
    level_db: Annotated[float, Field(ge=-MOST_DB, le=MOST_DB)] | None = None


class _Verdict(_Part):
    criterion: _Criterion
    verified: bool


class _Statistics(_Part):
    laeq: Annotated[KeptDb, Field(alias="LAeq_dB")]
    duration_s: KeptSeconds
    left_out_s: KeptSeconds


class _Night(_Part):
    window_s: KeptSeconds
    statistics: _Statistics
    background_spectrum: _Bands


class _Calibration(_Part):
    absolute: bool


class _Schema(_Part):
    name: Literal["sleepnoise/assessment"]
    version: Literal[1]


class _Settings(_Part):
    window: Annotated[str, Field(max_length=40)] = ""


class _File(_Part):
    kind: Annotated[_Schema, Field(alias="schema")]
    settings: _Settings = _Settings()
    calibration: _Calibration
    night: _Night
    verdicts: list[_Verdict]
    events: list[_Event]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptEvent:
    """One event of an assessed night.

    Attributes
    ----------
    number : int
        From 1, as in the assessment.
    start_local : str
        ISO 8601 with offset.
    duration_s : float, s
    lafmax, lae : float, dB
        With the background.
    label : str
        What it is, or the group it belongs to; empty if nobody said.
    max_spectrum, background_spectrum : Spectrum
    spectrum_at_max, equivalent_spectrum : Spectrum
        Without bands where the assessment is older than they are.
    loudest_moments : tuple of Spectrum
        Empty likewise.
    """

    number: int
    start_local: str
    duration_s: float
    lafmax: float
    lae: float
    label: str
    max_spectrum: Spectrum
    background_spectrum: Spectrum
    spectrum_at_max: Spectrum
    equivalent_spectrum: Spectrum
    loudest_moments: tuple[Spectrum, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NightValue:
    """A published value that the LAeq of a night is held to, dB."""

    guideline: str
    title: str
    level_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptNight:
    """What was kept of an assessed night.

    Attributes
    ----------
    name : str
        Of its folder.
    laeq : float, dB
        Of the night window.
    recorded_s : float, s
        Time that was judged.
    window : tuple of str
        Clock times of the night, such as ``("23:00", "07:00")``.
    background_spectrum : Spectrum
    events : tuple of KeptEvent
    values : tuple of NightValue
        Verified ones, for the whole window, indoors.
    mark : FileMark
    """

    name: str
    laeq: float
    recorded_s: float
    window: tuple[str, str]
    background_spectrum: Spectrum
    events: tuple[KeptEvent, ...]
    values: tuple[NightValue, ...]
    mark: FileMark


def read_kept_night(where: Path) -> KeptNight:
    """Read an assessed night from its folder, or from its ``assessment.json``.

    Raises
    ------
    RecordingError
        If there is none, or it is not what an assessment writes.
    SettingsError
        If its levels are relative to full scale: what is heard depends on true levels.
    """
    path = where / FILE_NAME if where.is_dir() else where
    mark = file_mark(path, "assessment")
    if mark.size_bytes > LARGEST_BYTES:
        raise RecordingError(f"{path}: is too large for an assessment.", remedy=_REMEDY)
    file = _parsed(path)
    if not file.calibration.absolute:
        raise SettingsError(
            f"{path}: its levels are relative to full scale; only true levels tell what is heard.",
            remedy="Assess the night again with a calibration (a tone or a full-scale level).",
        )
    return KeptNight(
        name=shown_name(path.parent.resolve()),
        laeq=file.night.statistics.laeq,
        recorded_s=file.night.statistics.duration_s - file.night.statistics.left_out_s,
        window=(file.settings.window.partition("-")[0], file.settings.window.partition("-")[2]),
        background_spectrum=file.night.background_spectrum.spectrum(),
        events=tuple(_event(event) for event in file.events),
        values=_values(file),
        mark=mark,
    )


def _parsed(path: Path) -> _File:
    try:
        file = _File.model_validate_json(path.read_bytes())
    except ValidationError as error:
        raise RecordingError(f"{path}: {first_mistake(error)}.", remedy=_REMEDY) from None
    for bands in (file.night.background_spectrum, *(each for event in file.events for each in event.spectra)):
        _check(bands, path)
    return file


def _check(bands: _Bands, path: Path) -> None:
    rising = bands.nominal_hz == sorted(set(bands.nominal_hz) & set(NOMINAL_HZ))
    if not rising or len(bands.nominal_hz) != len(bands.levels_db):
        raise RecordingError(f"{path}: a spectrum is not one level for each third octave.", remedy=_REMEDY)


def _event(event: _Event) -> KeptEvent:
    return KeptEvent(
        number=event.event,
        start_local=event.start_local,
        duration_s=event.duration_s,
        lafmax=event.lafmax,
        lae=event.lae,
        label=event.label or event.group,
        max_spectrum=event.max_spectrum.spectrum(),
        background_spectrum=event.background_spectrum.spectrum(),
        spectrum_at_max=event.spectrum_at_max.spectrum(),
        equivalent_spectrum=event.equivalent_spectrum.spectrum(),
        loudest_moments=tuple(each.spectrum() for each in event.loudest_moments),
    )


def _values(file: _File) -> tuple[NightValue, ...]:
    """Return the verified values for the LAeq of the whole window, each once."""
    found = {
        NightValue(guideline=each.guideline, title=each.title, level_db=each.level_db): None
        for verdict in file.verdicts
        if (each := verdict.criterion).level_db is not None
        and verdict.verified
        and (each.quantity, each.over, each.where) == ("laeq", "period", "inside")
    }
    return tuple(found)
