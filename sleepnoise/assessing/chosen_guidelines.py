"""The guidelines that a night is judged by: those that were asked for, or all that are shipped."""

from pathlib import Path

from sleepnoise.evidence.provenance import FileMark, file_mark
from sleepnoise.judgement.guidelines import Criterion, criteria_of
from sleepnoise.profiles.files import read_guideline, shipped_profiles


def guideline_names(asked_for: tuple[str, ...]) -> tuple[str, ...]:
    """Return names or files of guideline profiles; all that are shipped if none was asked for."""
    return asked_for or tuple(profile.name for profile in shipped_profiles("guideline"))


def criteria_of_guidelines(names: tuple[str, ...]) -> tuple[Criterion, ...]:
    """Return everything that guidelines ask, in their order.

    Raises
    ------
    ProfileError
        If there is no such profile, or it is no guideline.
    """
    return tuple(criterion for name in names for criterion in criteria_of(read_guideline(name)))


def guideline_marks(names: tuple[str, ...]) -> tuple[FileMark, ...]:
    """Return the marks of the files that guidelines were read from."""
    shipped = {profile.name: profile.path for profile in shipped_profiles("guideline")}
    return tuple(file_mark(shipped.get(name, Path(name)), "guideline profile") for name in names)
