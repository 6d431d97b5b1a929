"""Profiles: what a user might swap, kept in TOML files that name their sources.

This module finds, reads and validates files. It knows no rooms: each room turns the
validated entry into its own frozen dataclass. A file says what it is with ``kind``.
"""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from sleepnoise.acoustics.bands import NOMINAL_HZ
from sleepnoise.acoustics.source import HowKnown, Source
from sleepnoise.errors import ProfileError

LARGEST_PROFILE_BYTES = 1_000_000
"""A profile is written by hand; anything larger is some other file. Chosen: 20 x the largest one shipped."""

_PACKAGE = Path(__file__).parent
_Text = Annotated[str, Field(min_length=1, max_length=2000)]
_Level = Annotated[float, Field(ge=-50, le=150, allow_inf_nan=False)]
_Loss = Annotated[float, Field(ge=-20, le=100, allow_inf_nan=False)]
_Clock = Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class SourceEntry(_Entry):
    """``[sources.KEY]``: one place in one document."""

    document: _Text
    place: _Text
    how_known: HowKnown
    url: str = ""

    def source(self) -> Source:
        """Return the source as the rest of the package knows it."""
        return Source(document=self.document, place=self.place, how_known=self.how_known, url=self.url)


class _Profile(_Entry):
    title: _Text
    summary: _Text
    sources: Annotated[dict[str, SourceEntry], Field(min_length=1)]

    def _check_sources(self, wanted: list[str]) -> None:
        for key in wanted:
            if key not in self.sources:
                known = ", ".join(sorted(self.sources))
                raise ValueError(f"source {key!r} is not described under [sources]; described are: {known}")


def _band_levels(levels: dict[str, float]) -> dict[float, float]:
    """Return band levels by nominal frequency; refuse names that are not third octaves."""
    by_hz: dict[float, float] = {}
    for name, level_db in levels.items():
        try:
            nominal_hz = float(name)
        except ValueError:
            nominal_hz = -1.0
        if nominal_hz not in NOMINAL_HZ:
            raise ValueError(f"{name!r} is no nominal third-octave frequency between 20 Hz and 20 kHz")
        by_hz[nominal_hz] = level_db
    return dict(sorted(by_hz.items()))


class CriterionEntry(_Entry):
    """``[[criterion]]``: one published value and the rule that goes with it."""

    id: Annotated[str, Field(pattern=r"^[a-z0-9_]+$")]
    title: _Text
    quantity: Literal["laeq", "lafmax", "lasmax", "lafmax_over_laeq", "band_leq"]
    rule: Literal["not exceeded", "count", "effect begins"]
    over: Literal["period", "loudest full hour", "event"]
    period: tuple[_Clock, _Clock] | None = None
    level_db: _Level | None = None
    bands_db: dict[str, _Level] = {}
    count_allowed: Annotated[int, Field(ge=0, le=1000)] | None = None
    where: Literal["inside", "outside"] = "inside"
    single_night_ok: bool
    applies_to: _Text
    source: str
    note: str = ""

    @model_validator(mode="before")
    @classmethod
    def _pair(cls, data: object) -> object:
        if isinstance(data, dict) and isinstance(data.get("period"), list):
            return {**data, "period": tuple(data["period"])}
        return data

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if (self.quantity == "band_leq") != bool(self.bands_db):
            raise ValueError("bands_db belongs to quantity 'band_leq', and only there")
        if (self.level_db is None) == (not self.bands_db):
            raise ValueError("give either level_db or bands_db")
        if (self.rule == "count") != (self.count_allowed is not None):
            raise ValueError("count_allowed belongs to rule 'count', and only there")
        _band_levels(self.bands_db)
        return self

    @property
    def levels_by_hz(self) -> dict[float, float]:
        """Band levels, dB, by nominal frequency, rising."""
        return _band_levels(self.bands_db)


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
    insertion_loss_db: Annotated[dict[str, _Loss], Field(min_length=1)]
    spread_db: Annotated[float, Field(ge=0, le=30)]
    basis: _Text
    source: str
    cautions: list[_Text] = []

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self._check_sources([self.source])
        _band_levels(self.insertion_loss_db)
        return self

    @property
    def loss_by_hz(self) -> dict[float, float]:
        """Insertion loss, dB, by nominal frequency, rising."""
        return _band_levels(self.insertion_loss_db)


class MaskerProfile(_Profile):
    """``kind = "masker"``: the shape of one steady masking sound."""

    kind: Literal["masker"]
    band_slope_db_per_octave: Annotated[float, Field(ge=-12, le=6)]
    lowest_hz: Annotated[float, Field(ge=20, le=20_000)]
    highest_hz: Annotated[float, Field(ge=20, le=20_000)]
    source: str

    @model_validator(mode="after")
    def _known_sources(self) -> Self:
        self._check_sources([self.source])
        if not self.lowest_hz < self.highest_hz:
            raise ValueError("lowest_hz must lie below highest_hz")
        return self


Profile = GuidelineProfile | TreatmentProfile | MaskerProfile

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
            f"{path.name}: kind must be one of {', '.join(_KINDS)}, got {found!r}.",
            remedy='Write the kind in the first line of the file, for example: kind = "guideline".',
        )
    if kind is not None and found != kind:
        raise ProfileError(
            f"{path.name}: a {kind} profile is needed here, this is a {found} profile.",
            remedy="See what there is with 'sleepnoise profiles list'.",
        )
    try:
        return _KINDS[found].model_validate(table)
    except ValidationError as error:
        raise ProfileError(
            f"{path.name}: {_explain(error)}", remedy="Mend the keys named above and check the file again."
        ) from None


def read_guideline(name_or_path: str | Path) -> GuidelineProfile:
    """Read a guideline profile; see :func:`read_profile`."""
    profile = read_profile(name_or_path, "guideline")
    assert isinstance(profile, GuidelineProfile)
    return profile


def read_treatment(name_or_path: str | Path) -> TreatmentProfile:
    """Read a treatment profile; see :func:`read_profile`."""
    profile = read_profile(name_or_path, "treatment")
    assert isinstance(profile, TreatmentProfile)
    return profile


def read_masker(name_or_path: str | Path) -> MaskerProfile:
    """Read a masker profile; see :func:`read_profile`."""
    profile = read_profile(name_or_path, "masker")
    assert isinstance(profile, MaskerProfile)
    return profile


def shipped_profiles(kind: str | None = None) -> tuple[ShippedProfile, ...]:
    """Return all shipped profiles, or those of one kind, sorted by kind and name."""
    found = (
        ShippedProfile(kind=profile.kind, name=path.stem, title=profile.title, path=path)
        for path, profile in _read_shipped()
        if kind is None or profile.kind == kind
    )
    return tuple(sorted(found, key=lambda entry: (entry.kind, entry.name)))


def _read_shipped() -> Iterator[tuple[Path, Profile]]:
    for path in sorted(shipped_folder().rglob("*.toml")):
        yield path, read_profile(path)


def _locate(name_or_path: str) -> Path:
    given = Path(name_or_path)
    if given.suffix == ".toml":
        return given
    for path in shipped_folder().rglob("*.toml"):
        if path.stem == name_or_path:
            return path
    names = ", ".join(sorted(path.stem for path in shipped_folder().rglob("*.toml")))
    raise ProfileError(
        f"{name_or_path}: no shipped profile has this name; there are: {names}.",
        remedy="Choose one of these names, or give the path of a .toml file.",
    )


def _parse(path: Path) -> dict[str, object]:
    try:
        if path.stat().st_size > LARGEST_PROFILE_BYTES:
            raise ProfileError(
                f"{path.name}: larger than {LARGEST_PROFILE_BYTES / 1e6:g} MB, so this is no profile.",
                remedy="Give the path of a profile written in TOML.",
            )
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ProfileError(f"{path}: there is no such file.", remedy="Check the path.") from None
    except OSError as error:
        raise ProfileError(f"{path}: cannot be read ({error.strerror}).", remedy="Check the path.") from None
    except (UnicodeDecodeError, RecursionError):
        raise ProfileError(f"{path.name}: is not UTF-8 text in TOML.", remedy="Save it as UTF-8.") from None
    except tomllib.TOMLDecodeError as error:
        raise ProfileError(f"{path.name}: is not valid TOML: {error}", remedy="Mend that line.") from None


def _explain(error: ValidationError) -> str:
    """Return every mistake as *place: what is wrong*, without the validator's own jargon."""
    mistakes = []
    for mistake in error.errors(include_url=False):
        place = " ".join(str(part + 1) if isinstance(part, int) else part for part in mistake["loc"])
        message = mistake["msg"].removeprefix("Value error, ")
        if mistake["type"] == "extra_forbidden":
            message = "is not a key of this kind of profile"
        elif mistake["type"] == "missing":
            message = "is missing"
        elif isinstance(mistake["input"], str | int | float | bool):
            message = f"{message}, got {mistake['input']!r:.60}"
        mistakes.append(f"{place or 'file'}: {message}")
    return "; ".join(mistakes) + "."
