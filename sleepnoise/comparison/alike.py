"""Which nights must not be put together, or held against each other."""

from collections.abc import Sequence
from itertools import pairwise

from sleepnoise.comparison.night_figures import NightFigures
from sleepnoise.errors import SettingsError


def check_alike(nights: Sequence[NightFigures]) -> None:
    """Refuse nights that must not be put together.

    Parameters
    ----------
    nights : sequence of NightFigures

    Raises
    ------
    SettingsError
        If there is none, they differ in window hours, window state or kind of level, or one comes twice.
    """
    _refuse_different("how the windows stood", {_state(night): night.name for night in nights})
    check_comparable(nights)


def check_comparable(nights: Sequence[NightFigures]) -> None:
    """Refuse nights that must not even be held against each other.

    Parameters
    ----------
    nights : sequence of NightFigures

    Raises
    ------
    SettingsError
        As :func:`check_alike`, but the windows may have stood differently.
    """
    if not nights:
        raise SettingsError("nights: there is none to compare.", remedy="Give at least one assessed night.")
    _refuse_different("the hours of the night", {night.window: night.name for night in nights})
    _refuse_different("the kind of level", {_kind_of_level(night): night.name for night in nights})
    ordered = sorted(nights, key=lambda night: (night.evening, night.name))
    for one, other in pairwise(ordered):
        if one.evening == other.evening:
            raise SettingsError(
                f"nights: that of {one.evening.isoformat()} must count once, "
                f"got {one.name} and {other.name}.",
                remedy="Give one assessment of each night.",
            )


def _refuse_different(what: str, found: dict[str, str]) -> None:
    if len(found) > 1:
        listed = ", ".join(f"{word} ({name})" for word, name in sorted(found.items()))
        raise SettingsError(
            f"nights: {what} must be the same for nights that are put together, got {listed}.",
            remedy="Compare them as separate groups.",
        )


def _state(night: NightFigures) -> str:
    return night.window_state or "not noted"


def _kind_of_level(night: NightFigures) -> str:
    return "calibrated" if night.absolute else "relative to full scale"
