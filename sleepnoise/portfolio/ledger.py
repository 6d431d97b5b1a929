"""What became of each night: one small file each, replaced in one step, beside the results.

A portfolio's folder holds ``nights/BEDROOM/NIGHT/`` with the results, ``ledger/BEDROOM/NIGHT.json``,
which says what they were made from or why there are none.
Results depend on nothing but the night; what depends on the day, such as the time that it took, is
in the ledger alone.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError

from sleepnoise.errors import OutputError
from sleepnoise.evidence.placing import write_file
from sleepnoise.evidence.plain import document_text, plain_value
from sleepnoise.evidence.provenance import file_mark

State = Literal["finished", "skipped", "busy", "failed"]
"""What became of a night: assessed now, assessed before, in other hands, or not possible."""

MANIFEST = "manifest.json"
"""The file of a night's results that names all others with their SHA-256."""

SCHEMA = {"name": "sleepnoise/ledger", "version": 1}
"""Name and version of an entry. Chosen: raised whenever a key changes its meaning; older ones are redone."""


class Cost(BaseModel):
    """What a night took: seconds of a processor and by the clock, bytes of sound read and of results."""

    model_config = ConfigDict(frozen=True)

    cpu_s: float = 0.0
    clock_s: float = 0.0
    read_bytes: int = 0
    written_bytes: int = 0


class Outcome(BaseModel):
    """What became of one night, with a complaint and a remedy if nothing did."""

    model_config = ConfigDict(frozen=True)

    bedroom: str
    night: str
    state: State
    complaint: str = ""
    remedy: str = ""
    cost: Cost = Cost()


def _as_number(value: Any) -> Any:
    return float(value) if value == "-Infinity" else value


Cell = Annotated[str | bool | int | float | None, BeforeValidator(_as_number)]
Row = dict[str, Cell]
"""One line of a table; None is not known, -inf is silence."""


class Entry(BaseModel):
    """One night's line in the ledger: its outcome, what it was made from, and its rows for the tables."""

    model_config = ConfigDict(frozen=True)

    outcome: Outcome
    fingerprint: str = ""
    manifest_sha256: str = ""
    rows: dict[str, list[Row]] = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where everything of one night lies below the portfolio's folder."""

    out: Path
    bedroom: str
    night: str

    @property
    def results(self) -> Path:
        """Folder of its results."""
        return self.out / "nights" / self.bedroom / self.night

    @property
    def entry(self) -> Path:
        """Its line in the ledger."""
        return self.out / "ledger" / self.bedroom / f"{self.night}.json"

    @property
    def claim(self) -> Path:
        """The file that stands for the claim on it."""
        return self.out / "ledger" / self.bedroom / f"{self.night}.claim"

    def prepare(self) -> None:
        """Make every folder that is missing."""
        for folder in (self.results.parent, self.entry.parent):
            folder.mkdir(parents=True, exist_ok=True)

    def finished_before(self, fingerprint: str) -> bool:
        """Return whether results made from the very same are there, as they were written."""
        entry = read_entry(self.entry)
        manifest = self.results / MANIFEST
        return (
            entry is not None
            and entry.outcome.state == "finished"
            and entry.fingerprint == fingerprint
            and manifest.is_file()
            and file_mark(manifest, "manifest").sha256 == entry.manifest_sha256
        )


def check_portfolio_folder(out: Path) -> None:
    """Make the folder of a portfolio, or refuse it.

    Raises
    ------
    OutputError
        If it holds something else, or cannot be made.
    """
    try:
        if out.exists() and any(out.iterdir()) and not (out / "ledger").is_dir():
            raise OutputError(
                f"{out}: holds something else than assessed nights.",
                remedy="Choose an empty folder, or one that this command wrote before.",
            )
        (out / "ledger").mkdir(parents=True, exist_ok=True)
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(
            f"{out}: cannot be written ({error.strerror or error}).",
            remedy="Choose a folder you may write to, on a disk with room.",
        ) from None


def read_entry(path: Path) -> Entry | None:
    """Return a line of the ledger; None if there is none that can be understood."""
    try:
        # Nobody may ever write into a pipe.
        return Entry.model_validate_json(path.read_bytes()) if path.is_file() else None
    except (OSError, ValidationError):
        return None


def write_entry(entry: Entry, place: Place) -> None:
    """Write a line of the ledger in one step."""
    text = document_text({"schema": SCHEMA, **plain_value(entry.model_dump())})
    write_file(place.entry, text, force=True)


def entries(out: Path) -> Iterator[Entry]:
    """Yield every line of a portfolio's ledger, by bedroom and night.

    Raises
    ------
    OutputError
        If there is no ledger.
    """
    if not (out / "ledger").is_dir():
        raise OutputError(
            f"{out}: is no folder of assessed nights.", remedy="Name the folder that assess-many wrote."
        )
    for path in sorted((out / "ledger").glob("*/*.json")):
        entry = read_entry(path)
        if entry is not None:
            yield entry
