"""sleepnoise: how bad the nights are, which sounds do it, what to seal, replace or hang, and the proof.

The names below are the whole public surface. They load their rooms only when used, so
``import sleepnoise`` is instant.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.2.0"

if TYPE_CHECKING:
    from sleepnoise.assessing.assess import assess_recording as assess_recording
    from sleepnoise.assessing.record import AssessSettings as AssessSettings
    from sleepnoise.errors import SleepNoiseError as SleepNoiseError
    from sleepnoise.levels.engine import LevelEngine as LevelEngine
    from sleepnoise.levels.statistics import level_statistics as level_statistics
    from sleepnoise.report.folder import write_assessment as write_assessment

_ROOMS = {
    "SleepNoiseError": "errors",
    "LevelEngine": "levels.engine",
    "level_statistics": "levels.statistics",
    "AssessSettings": "assessing.record",
    "assess_recording": "assessing.assess",
    "write_assessment": "report.folder",
}
"""Public name -> module that holds it, in the order of the flow."""

__all__ = [
    "AssessSettings",
    "LevelEngine",
    "SleepNoiseError",
    "__version__",
    "assess_recording",
    "level_statistics",
    "write_assessment",
]


def __getattr__(name: str) -> Any:
    """Load a public name from its room on first use."""
    if name in _ROOMS:
        return getattr(import_module(f"sleepnoise.{_ROOMS[name]}"), name)
    raise AttributeError(f"module 'sleepnoise' has no attribute {name!r}")
