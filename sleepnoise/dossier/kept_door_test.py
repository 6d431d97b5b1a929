"""A door test as its document has it: what was printed or kept, read back for people to see."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from sleepnoise.errors import SettingsError
from sleepnoise.evidence.reading import KeptNumber, first_mistake, json_object

_REMEDY = "Give what 'sleepnoise door-test --json' printed, or make the test anew."

STEPS_MOST, ROWS_MOST = 200, 40
"""Steps and levels of a step that are read. Chosen: more than any door test has, and than there are bands."""

_Rows = Annotated[tuple[KeptNumber, ...], Field(min_length=1, max_length=ROWS_MOST)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)


class _Schema(_Part):
    name: Literal["sleepnoise/door-test"]
    version: Literal[1]


class KeptFileMark(_Part):
    """A file that a result was made from."""

    role: str
    name: str
    size_bytes: int
    sha256: str


class KeptGain(_Part):
    """What was gained between two steps, dB; the A-weighted level first, then each band.

    ``at_least`` says where the background decided; ``expanded_uncertainty_db`` is for k = 2.
    """

    gain_db: _Rows
    at_least: tuple[bool, ...]
    expanded_uncertainty_db: _Rows


class KeptReading(_Part):
    """One recording, or what was read off a meter; times are ``nan`` if typed, s."""

    name: str
    used_s: KeptNumber
    rejected_s: KeptNumber


class KeptStep(_Part):
    """The door after one more change; levels in dB, the A-weighted one first, then each band."""

    title: Annotated[str, Field(max_length=20_000)]
    done: str = ""
    corrected_db: _Rows
    at_background_limit: tuple[bool, ...]
    step_gain: KeptGain | None
    gain_since_first: KeptGain | None
    gain_since: KeptGain | None
    removed_share_of_since: tuple[KeptNumber, ...] | None
    source_change_db: tuple[KeptNumber, ...]
    repeat_spread_db: KeptNumber
    readings: tuple[KeptReading, ...]
    source: tuple[KeptReading, ...]


class KeptDoorTest(_Part):
    """A door test.

    Attributes
    ----------
    absolute : bool
        Levels are dB re 20 µPa; otherwise only differences hold.
    since_step : int
        Step, from 1, from which totals and shares count.
    """

    kind: Annotated[_Schema, Field(alias="schema")]
    title: str
    absolute: bool
    nominal_hz: tuple[float, ...]
    background_db: tuple[KeptNumber, ...] | None
    since_step: Annotated[int, Field(ge=1)]
    steps: Annotated[tuple[KeptStep, ...], Field(min_length=2, max_length=STEPS_MOST)]
    left_share_of_since: tuple[KeptNumber, ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    inputs: tuple[KeptFileMark, ...]

    @property
    def since(self) -> int:
        """Step, from 0, from which totals and shares count."""
        return self.since_step - 1

    def gain(self, first: int, last: int) -> KeptGain | None:
        """Return what was gained from step 0, ``since`` or the one before to a later one."""
        step = self.steps[last]
        if first == last - 1:
            return step.step_gain
        return step.gain_since_first if first == 0 else step.gain_since


def door_test_from(document: Mapping[str, Any], where: str) -> KeptDoorTest:
    """Return the door test of a document, as a JSON parser or ``door_test_document`` gives it.

    Raises
    ------
    SettingsError
        If it is no door test.
    """
    try:
        found = KeptDoorTest.model_validate(document)
    except ValidationError as error:
        raise SettingsError(f"{where}: {first_mistake(error)}.", remedy=_REMEDY) from None
    rows = 1 + len(found.nominal_hz)
    whole = all(
        len(each) == rows
        for step in found.steps
        for each in (step.corrected_db, step.at_background_limit, *_rows_of(step))
    )
    if not whole or found.since_step > len(found.steps):
        raise SettingsError(f"{where}: its levels are not one for each band.", remedy=_REMEDY)
    return found


def _rows_of(step: KeptStep) -> list[tuple[object, ...]]:
    gains = [gain for gain in (step.step_gain, step.gain_since_first, step.gain_since) if gain is not None]
    return [rows for each in gains for rows in (each.gain_db, each.at_least, each.expanded_uncertainty_db)]


def read_kept_door_test(path: Path, content: bytes) -> KeptDoorTest:
    """Return the door test of a file's content.

    Raises
    ------
    SettingsError
        If it is no door test.
    """
    return door_test_from(json_object(str(path), content, what="door test", remedy=_REMEDY), str(path))
