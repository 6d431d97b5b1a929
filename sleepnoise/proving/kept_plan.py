"""A plan kept as a file: its promise, and what was asked for, so that it can be made anew."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.assessing.kept_night import FILE_NAME, read_kept_night
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.provenance import file_mark
from sleepnoise.evidence.reading import MOST_DB, MOST_SECONDS, KeptCount, KeptDb, first_mistake
from sleepnoise.hearing.ageing import OLDEST_YEARS, YOUNGEST_YEARS, Listener, Sex
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.masking.alarm import Pitch
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes, bedroom_problem
from sleepnoise.planning.problem import Problem, Wish
from sleepnoise.planning.room_study import RoomStudy, study_room
from sleepnoise.proving.promise import Promise, PromisedEvent, PromisedLevel, TreatedPart

LARGEST_BYTES = 50_000_000
"""Largest file read. Chosen: a thousand events and every drawn map take 5 MB."""

_REMEDY = "Give the file that 'sleepnoise plan --out' wrote, or plan again."


class _Part(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)


class _Schema(_Part):
    name: Literal["sleepnoise/plan"]
    version: Literal[1]


class _Level(_Part):
    before: KeptDb
    promised: KeptDb
    u_db: Annotated[float, Field(ge=0, le=MOST_DB)]

    def level(self) -> PromisedLevel:
        return PromisedLevel(before=self.before, promised=self.promised, u_db=self.u_db)


class _Event(_Part):
    night: Annotated[KeptCount, Field(ge=1)]
    number: Annotated[KeptCount, Field(ge=1)]
    source: Annotated[str, Field(max_length=200)]
    origin: Annotated[str, Field(max_length=40)]
    lafmax: Annotated[_Level, Field(alias="LAFmax_dB")]
    margin_before_db: KeptDb
    margin_db: KeptDb


class _Treated(_Part):
    key: str
    side: str
    treatments: tuple[str, ...]


class _Bands(_Part):
    nominal_hz: tuple[float, ...]
    levels_db: list[KeptDb]


class _Listener(_Part):
    age_years: Annotated[float, Field(ge=YOUNGEST_YEARS, le=OLDEST_YEARS)] = YOUNGEST_YEARS
    sex: Sex = "female"
    share_hearing_better: Annotated[float, Field(gt=0, lt=1)] = 0.5


class _Promise(_Part):
    room: Annotated[str, Field(max_length=500)]
    nights: tuple[str, ...]
    seconds: Annotated[float, Field(alias="duration_s", gt=0, le=MOST_SECONDS)]
    sides: tuple[str, ...]
    loss_db: list[list[KeptDb]]
    background_loss_db: list[KeptDb]
    loss_u_db: list[list[KeptDb]]
    treated: tuple[_Treated, ...]
    masker: _Bands | None
    margin_db: KeptDb
    allowed: KeptCount
    laeq: Annotated[_Level, Field(alias="LAeq_dB")]
    background: _Level
    listener: _Listener = _Listener()
    events: tuple[_Event, ...]


class _Room(_Part):
    origins: dict[str, str]
    background_inside: float
    forbidden: tuple[str, ...]
    required: tuple[str, ...]
    alarm_pitch: Pitch | None = None


class _Asked(_Part):
    room: _Room
    shapes: bool
    shaped: bool
    lowest_hz: float


class _Mark(_Part):
    role: str
    sha256: str


class _MadeFrom(_Part):
    files: tuple[_Mark, ...]


class _File(_Part):
    kind: Annotated[_Schema, Field(alias="schema")]
    made_from: _MadeFrom
    wish: dict[str, Any]
    asked: _Asked
    promise: _Promise | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KeptPlan:
    """What a plan's file says.

    Attributes
    ----------
    promise : Promise
    wish : Wish
    room : RoomWishes
    maskers : MaskerChoices
    marks : tuple of str
        SHA-256 of the room file, then of the assessments.
    """

    promise: Promise
    wish: Wish
    room: RoomWishes
    maskers: MaskerChoices
    marks: tuple[str, ...]

    def check_nights(self, nights: Sequence[Path]) -> None:
        """Refuse nights that are not those of the plan, in its order.

        Raises
        ------
        SettingsError
        """
        if _marks(nights) != self.marks[1:]:
            raise SettingsError(
                "plan: was not made from these assessments, or they have changed since.",
                remedy="Give the very folders, in the same order, or plan again.",
            )

    def problem(self, room: Path, nights: Sequence[Path]) -> tuple[Problem, RoomStudy]:
        """Return the problem that the plan solved, and its room.

        Parameters
        ----------
        room : Path
            The room file.
        nights : sequence of Path
            The assessments, in the order of the plan.

        Raises
        ------
        SettingsError
            If these are not the files that the plan was made from.
        """
        if (file_mark(room, "").sha256, *_marks(nights)) != self.marks:
            raise SettingsError(
                "plan: was not made from this room file and these assessments, or they have changed since.",
                remedy="Give the very files, the assessments in the same order, or plan again.",
            )
        study = study_room(room)
        kept = [read_kept_night(each) for each in nights]
        listener = self.promise.listener
        return bedroom_problem(kept, study, self.room, self.maskers, self.wish, listener), study


def _marks(nights: Sequence[Path]) -> tuple[str, ...]:
    assessments = [each / FILE_NAME if each.is_dir() else each for each in nights]
    return tuple(file_mark(path, "").sha256 for path in assessments)


def read_plan(path: Path) -> KeptPlan:
    """Read a plan that was kept.

    Raises
    ------
    RecordingError
        If there is no such file.
    SettingsError
        If it is no plan, or there was no plan that keeps what was asked.
    """
    mark = file_mark(path, "plan")
    if mark.size_bytes > LARGEST_BYTES:
        raise SettingsError(f"{path}: is too large for a plan.", remedy=_REMEDY)
    try:
        file = _File.model_validate_json(path.read_bytes())
        wish = TypeAdapter(Wish).validate_python(file.wish)
    except ValidationError as error:
        raise SettingsError(f"{path}: {first_mistake(error)}.", remedy=_REMEDY) from None
    if file.promise is None:
        raise SettingsError(f"{path}: holds no plan, because none kept what was asked.", remedy=_REMEDY)
    asked = file.asked
    return KeptPlan(
        promise=_promise(file.promise, path),
        wish=wish,
        room=RoomWishes(**asked.room.model_dump()),
        maskers=MaskerChoices(
            shapes=masker_shapes() if asked.shapes else (), shaped=asked.shaped, lowest_hz=asked.lowest_hz
        ),
        marks=tuple(each.sha256 for each in file.made_from.files),
    )


def _promise(read: _Promise, path: Path) -> Promise:
    bands = len(MODEL_BANDS_HZ)
    loss_db, loss_u_db = np.array(read.loss_db, dtype=object), np.array(read.loss_u_db, dtype=object)
    wanted = (len(read.sides), bands)
    masked = read.masker is None or read.masker.nominal_hz == MODEL_BANDS_HZ
    known = all(each.origin in read.sides for each in read.events)
    if (
        loss_db.shape != wanted
        or loss_u_db.shape != wanted
        or len(read.background_loss_db) != bands
        or not masked
        or not known
    ):
        raise SettingsError(f"{path}: its losses are not one for each side and band.", remedy=_REMEDY)
    kept = {field.name: getattr(read, field.name) for field in fields(Promise)}
    kept |= {
        "loss_db": loss_db.astype(np.float64),
        "loss_u_db": loss_u_db.astype(np.float64),
        "background_loss_db": np.array(read.background_loss_db),
        "treated": tuple(TreatedPart(**each.model_dump()) for each in read.treated),
        "masker": None
        if read.masker is None
        else Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=np.array(read.masker.levels_db)),
        "laeq": read.laeq.level(),
        "background": read.background.level(),
        "listener": Listener(**read.listener.model_dump()),
        "events": tuple(_event(each) for each in read.events),
    }
    return Promise(**kept)


def _event(read: _Event) -> PromisedEvent:
    kept = {field.name: getattr(read, field.name) for field in fields(PromisedEvent)}
    return PromisedEvent(**{**kept, "lafmax": read.lafmax.level()})
