"""The steps that a first plan compares: even ones, and the generic treatments in ``profiles/treatments``."""

from sleepnoise.isolation.steps import IsolationStep, even_step, step_from_profile
from sleepnoise.profiles.files import read_treatment, shipped_profiles

EVEN_STEPS_DB = (0.0, 5.0, 10.0, 15.0, 20.0)
"""Chosen: from the room as it is to the most that a single measure at a door or window usually brings."""


def default_steps() -> tuple[IsolationStep, ...]:
    """Return the room as it is, the even steps, then every shipped treatment by name."""
    treatments = (
        step_from_profile(profile.name, read_treatment(profile.path))
        for profile in shipped_profiles("treatment")
    )
    return (*map(even_step, EVEN_STEPS_DB), *treatments)
