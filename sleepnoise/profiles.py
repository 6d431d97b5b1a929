"""Profiles: what a user might swap, kept in TOML files that name their sources.

This module finds, reads and validates files. It knows no rooms: each room turns the
validated entry into its own frozen dataclass. A file says what it is with ``kind``.
Files may come from strangers: they are small, regular, printable, and every key is known.
"""

import math
import re
import stat
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, Self, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from sleepnoise.acoustics.bands import NOMINAL_HZ, band_label
from sleepnoise.acoustics.source import HowKnown, Source
from sleepnoise.errors import ProfileError

LARGEST_PROFILE_BYTES = 100_000
"""A profile is written by hand; anything larger is some other file. Chosen: 20 x the largest one shipped."""

LONGEST_LINE = 3_000
"""Characters of a line. Chosen: above the longest note; thousands of dots in a key take seconds to parse."""

MISTAKES_SHOWN = 10
"""Mistakes of a file that are explained at once. Chosen: as many as one reads before mending the first."""

_PACKAGE = Path(__file__).parent
_HZ_BY_NAME = {band_label(hz): hz for hz in NOMINAL_HZ}


def _printable(text: str) -> str:
    # What is printed to a terminal or a page must not be able to steer it.
    if not text.replace("\n", "").isprintable():
        raise ValueError("must not hold control characters")
    return text


def _matching(pattern: str, complaint: str) -> AfterValidator:
    def check(text: str) -> str:
        if not re.fullmatch(pattern, text, re.ASCII | re.DOTALL):
            raise ValueError(complaint)
        return text

    return AfterValidator(check)


def _band(name: str) -> str:
    if name not in _HZ_BY_NAME:
        raise ValueError('must be a nominal third-octave frequency from "20" to "20000"')
    return name


_Note = Annotated[str, Field(max_length=2000), AfterValidator(_printable)]
_Text = Annotated[_Note, _matching(r".*\S.*", "must not be empty")]
_Url = Annotated[
    str, Field(max_length=500), _matching(r"(https?://[!#-;=?-~]+)?", "must be a web address, http(s)://...")
]
_Id = Annotated[str, _matching(r"[a-z0-9_-]{1,60}", "must be 1 to 60 small letters, digits, - and _")]
_Clock = Annotated[str, _matching(r"([01]\d|2[0-3]):[0-5]\d", "must be a clock time such as 23:00")]
_Band = Annotated[str, AfterValidator(_band)]
_Level = Annotated[float, Field(ge=-50, le=150)]
_Loss = Annotated[float, Field(ge=-20, le=100)]
_Count = Annotated[int, Field(ge=0, le=1000)]


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class SourceEntry(_Entry):
    """``[sources.KEY]``: one place in one document."""

    document: _Text
    place: _Text
    how_known: HowKnown
    url: _Url = ""

    def source(self) -> Source:
        """Return the source as the rest of the package knows it."""
        return Source(document=self.document, place=self.place, how_known=self.how_known, url=self.url)


class _Profile(_Entry):
    title: _Text
    summary: _Text
    sources: Annotated[dict[_Id, SourceEntry], Field(min_length=1)]

    def _check_sources(self, wanted: list[str]) -> None:
        for key in wanted:
            if key not in self.sources:
                known = ", ".join(sorted(self.sources))
                raise ValueError(f"source {key!r} is not described under [sources]; described are: {known}")


def _by_hz(levels: dict[str, float]) -> dict[float, float]:
    return {_HZ_BY_NAME[name]: levels[name] for name in sorted(levels, key=_HZ_BY_NAME.__getitem__)}


class CriterionEntry(_Entry):
    """``[[criterion]]``: one published value and the rule that goes with it."""

    id: _Id
    title: _Text
    quantity: Literal["laeq", "lafmax", "lasmax", "band_leq"]
    rule: Literal["not exceeded", "count", "effect begins"]
    over: Literal["period", "loudest full hour", "event"]
    period: tuple[_Clock, _Clock] | None = None
    hours: Annotated[float, Field(gt=0, le=24)] | None = None
    level_db: _Level | None = None
    bands_db: dict[_Band, _Level] = {}
    count_allowed: _Count | None = None
    count_allowed_upper: Annotated[int, Field(ge=1, le=1000)] | None = None
    adjustments_left_out: _Note = ""
    no_verdict_because: _Note = ""
    where: Literal["inside", "outside"] = "inside"
    single_night_ok: bool
    applies_to: _Text
    source: _Text
    note: _Note = ""

    @model_validator(mode="before")
    @classmethod
    def _pair(cls, data: object) -> object:
        # TOML has no tuples, and strict mode takes a list for nothing else.
        if isinstance(data, dict) and isinstance(data.get("period"), list):
            return {**data, "period": tuple(data["period"])}
        return data

    @model_validator(mode="after")
    def _complete(self) -> Self:
        """Refuse keys that do not belong together."""
        of_event = self.quantity in ("lafmax", "lasmax")
        hourly = self.over == "loudest full hour"
        counts = self.rule == "count"
        most = self.count_allowed_upper or math.inf
        for holds, mistake in (
            ((self.quantity == "band_leq") == bool(self.bands_db), "bands_db belongs to quantity 'band_leq'"),
            ((self.level_db is None) == bool(self.bands_db), "give either level_db or bands_db"),
            ((self.over == "event") == of_event, "over 'event' belongs to quantity 'lafmax' or 'lasmax'"),
            (not hourly or self.quantity == "laeq", "over 'loudest full hour' belongs to quantity 'laeq'"),
            (not counts or of_event, "rule 'count' belongs to over 'event'"),
            (counts == (self.count_allowed is not None), "count_allowed belongs to rule 'count'"),
            (counts or self.count_allowed_upper is None, "count_allowed_upper belongs to rule 'count'"),
            (most > (self.count_allowed or 0), "count_allowed_upper must lie above count_allowed"),
            (len(set(self.period or "ab")) == 2, "period must begin and end at different times"),
            (self.period is None or self.hours is None, "hours is for a criterion without period"),
        ):
            if not holds:
                raise ValueError(mistake)
        return self

    @property
    def levels_by_hz(self) -> dict[float, float]:
        """Band levels, dB, by nominal frequency, rising."""
        return _by_hz(self.bands_db)


class GuidelineProfile(_Profile):
    """``kind = "guideline"``: the values of one document."""

    kind: Literal["guideline"]
    jurisdiction: _Text
    criterion: Annotated[list[CriterionEntry], Field(min_length=1)]

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self._check_sources([criterion.source for criterion in self.criterion])
        ids = [criterion.id for criterion in self.criterion]
        if len(set(ids)) != len(ids):
            raise ValueError("criterion ids must differ from each other")
        return self


class TreatmentProfile(_Profile):
    """``kind = "treatment"``: what one generic isolation step takes off, per third octave."""

    kind: Literal["treatment"]
    acts_on: _Text
    insertion_loss_db: Annotated[dict[_Band, _Loss], Field(min_length=1)]
    spread_db: Annotated[float, Field(ge=0, le=30)]
    basis: _Text
    source: _Text
    cautions: list[_Text] = []

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self._check_sources([self.source])
        return self

    @property
    def loss_by_hz(self) -> dict[float, float]:
        """Insertion loss, dB, by nominal frequency, rising."""
        return _by_hz(self.insertion_loss_db)


class MaskerProfile(_Profile):
    """``kind = "masker"``: the shape of one steady masking sound."""

    kind: Literal["masker"]
    band_slope_db_per_octave: Annotated[float, Field(ge=-12, le=6)]
    lowest_hz: Annotated[float, Field(ge=20, le=20_000)]
    highest_hz: Annotated[float, Field(ge=20, le=20_000)]
    source: _Text

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self._check_sources([self.source])
        if not self.lowest_hz < self.highest_hz:
            raise ValueError("lowest_hz must lie below highest_hz")
        return self


Profile = GuidelineProfile | TreatmentProfile | MaskerProfile

_AnyProfile = TypeVar("_AnyProfile", GuidelineProfile, TreatmentProfile, MaskerProfile)

_KINDS: dict[str, type[Profile]] = {
    "guideline": GuidelineProfile,
    "treatment": TreatmentProfile,
    "masker": MaskerProfile,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippedProfile:
    """A profile that comes with the program: its kind, name, title and file."""

    kind: str
    name: str
    title: str
    path: Path


def shipped_folder() -> Path:
    """Return the folder of shipped profiles: the checkout's own, or the copy inside the wheel."""
    checkout = _PACKAGE.parent
    if (checkout / "pyproject.toml").is_file() and (checkout / "profiles").is_dir():
        return checkout / "profiles"
    return _PACKAGE / "_data" / "profiles"


def read_profile(name_or_path: str | Path, kind: str | None = None) -> Profile:
    """Read and validate one profile.

    Parameters
    ----------
    name_or_path : str or Path
        Name of a shipped profile, such as ``"who-1999-bedroom"``, or a ``.toml`` file.
    kind : {"guideline", "treatment", "masker"}, optional
        Refuse any other kind.

    Raises
    ------
    ProfileError
        If there is no such profile, or the file is not valid. The complaint names the
        file and every key that is wrong.
    """
    path = _locate(str(name_or_path))
    table = _parse(path)
    found = table.get("kind")
    if not isinstance(found, str) or found not in _KINDS:
        raise ProfileError(
            f"{_named(path)}: kind must be one of {', '.join(_KINDS)}, got {found!r:.60}.",
            remedy='Write the kind in the first line of the file, for example: kind = "guideline".',
        )
    if kind is not None and found != kind:
        raise ProfileError(
            f"{_named(path)}: a {kind} profile is needed here, this is a {found} profile.",
            remedy="See what there is with 'sleepnoise profiles list'.",
        )
    try:
        return _KINDS[found].model_validate(table)
    except ValidationError as error:
        raise ProfileError(
            f"{_named(path)}: {_explain(error)}", remedy="Mend the keys named above and check the file again."
        ) from None


def read_guideline(name_or_path: str | Path) -> GuidelineProfile:
    """Read a guideline profile; see :func:`read_profile`."""
    return _read(name_or_path, "guideline", GuidelineProfile)


def read_treatment(name_or_path: str | Path) -> TreatmentProfile:
    """Read a treatment profile; see :func:`read_profile`."""
    return _read(name_or_path, "treatment", TreatmentProfile)


def read_masker(name_or_path: str | Path) -> MaskerProfile:
    """Read a masker profile; see :func:`read_profile`."""
    return _read(name_or_path, "masker", MaskerProfile)


def shipped_profiles(kind: str | None = None) -> tuple[ShippedProfile, ...]:
    """Return all shipped profiles, or those of one kind, sorted by kind and name."""
    read = ((path, read_profile(path)) for path in _shipped_files())
    found = (
        ShippedProfile(kind=profile.kind, name=path.stem, title=profile.title, path=path)
        for path, profile in read
        if kind is None or profile.kind == kind
    )
    return tuple(sorted(found, key=lambda entry: (entry.kind, entry.name)))


def _read(name_or_path: str | Path, kind: str, model: type[_AnyProfile]) -> _AnyProfile:
    profile = read_profile(name_or_path, kind)
    assert isinstance(profile, model)
    return profile


def _shipped_files() -> list[Path]:
    return sorted(shipped_folder().rglob("*.toml"))


def _locate(name_or_path: str) -> Path:
    given = Path(name_or_path.replace("\0", "\N{REPLACEMENT CHARACTER}"))
    if given.suffix.lower() == ".toml":
        return given
    by_name = {path.stem: path for path in _shipped_files()}
    if name_or_path in by_name:
        return by_name[name_or_path]
    raise ProfileError(
        f"{name_or_path!r:.80}: no shipped profile has this name; there are: {', '.join(sorted(by_name))}.",
        remedy="Choose one of these names, or give the path of a .toml file.",
    )


def _parse(path: Path) -> dict[str, object]:
    text = _text(path)
    if max(map(len, text.splitlines()), default=0) > LONGEST_LINE:
        raise ProfileError(f"{_named(path)}: has a line over {LONGEST_LINE} characters.", remedy="Break it.")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise ProfileError(f"{_named(path)}: is nested too deeply.", remedy="Write it flat.") from None
    except ValueError as error:  # TOMLDecodeError, or whatever a converter refuses
        raise ProfileError(
            f"{_named(path)}: is not valid TOML: {error!s:.200}", remedy="Mend that place."
        ) from None


def _text(path: Path) -> str:
    """Return the text of a regular file of sensible size."""
    try:
        return _read_bytes(path).decode("utf-8-sig")
    except FileNotFoundError:
        raise ProfileError(f"{_named(path)}: there is no such file.", remedy="Check the path.") from None
    except OSError as error:
        raise ProfileError(
            f"{_named(path)}: cannot be read ({error.strerror}).", remedy="Check the path."
        ) from None
    except UnicodeDecodeError:
        raise ProfileError(f"{_named(path)}: is not UTF-8 text.", remedy="Save it as UTF-8.") from None


def _read_bytes(path: Path) -> bytes:
    # Devices and pipes have no size and no end.
    if not stat.S_ISREG(path.stat().st_mode):
        raise ProfileError(f"{_named(path)}: is not a file.", remedy="Give the path of a .toml file.")
    with path.open("rb") as file:
        raw = file.read(LARGEST_PROFILE_BYTES + 1)
    if len(raw) > LARGEST_PROFILE_BYTES:
        raise ProfileError(
            f"{_named(path)}: is larger than {LARGEST_PROFILE_BYTES / 1000:g} kB, so this is no profile.",
            remedy="Give the path of a profile written in TOML.",
        )
    return raw


def _named(path: Path) -> str:
    shown = f"{path!s:.200}"
    return shown if shown.isprintable() else repr(shown)


def _explain(error: ValidationError) -> str:
    """Return every mistake as *place: what is wrong*, without the validator's own jargon."""
    mistakes = error.errors(include_url=False)
    told = [_explain_one(mistake) for mistake in mistakes[:MISTAKES_SHOWN]]
    if len(mistakes) > MISTAKES_SHOWN:
        told.append(f"and {len(mistakes) - MISTAKES_SHOWN} more")
    return "; ".join(told) + "."


def _explain_one(mistake: ErrorDetails) -> str:
    keys = [str(part + 1) if isinstance(part, int) else part for part in mistake["loc"] if part != "[key]"]
    place = " ".join(key if key.isprintable() else repr(key) for key in keys)
    message = mistake["msg"].removeprefix("Value error, ").replace("Input should", "should")
    if mistake["type"] == "extra_forbidden":
        message = "is not a key of this kind of profile"
    elif mistake["type"] == "missing":
        message = "is missing"
    elif isinstance(mistake["input"], str | int | float | bool):
        message = f"{message}, got {mistake['input']!r:.60}"
    return f"{place or 'file':.100}: {message}"
