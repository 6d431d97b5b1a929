"""The guidelines that a night is judged by: those that were asked for, or the international ones."""

from pathlib import Path

from sleepnoise.evidence.provenance import FileMark, file_mark
from sleepnoise.judgement.guidelines import Criterion, criteria_of
from sleepnoise.profiles.files import read_guideline, shipped_profiles

ALL, INTERNATIONAL = "all", "international"
"""Words that ask for every shipped document, and for those of no one country."""


def guideline_names(asked_for: tuple[str, ...]) -> tuple[str, ...]:
    """Return names or files of guideline profiles.

    Parameters
    ----------
    asked_for : tuple of str
        Each a name, a file, a country of which every document is meant (``"SE"``), ``"all"`` or
        ``"international"``; the last one if there is none, since which country's rules apply is not
        for a program to guess.
    """
    countries: dict[str, list[str]] = {}
    for profile in shipped_profiles("guideline"):
        for group in (ALL, read_guideline(profile.path).country):
            countries.setdefault(group, []).append(profile.name)
    named = [countries.get(word, [word]) for word in asked_for or (INTERNATIONAL,)]
    return tuple(dict.fromkeys(name for names in named for name in names))


def file_names(names: tuple[str, ...]) -> tuple[str, ...]:
    """Return names without folders: results do not depend on where a profile lay."""
    return tuple(Path(name).name for name in names)


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
