"""Deliberate errors: a complaint says what is wrong, a remedy says what to do about it."""


class SleepNoiseError(Exception):
    """Root of every deliberate error. Carries a remedy beside the complaint.

    Parameters
    ----------
    complaint : str
        *Where: what is wrong, what is allowed, what was got.*
    remedy : str, optional
        An imperative that the reader can follow.
    """

    def __init__(self, complaint: str, *, remedy: str = "") -> None:
        super().__init__(complaint)
        self.complaint = complaint
        self.remedy = remedy


class RecordingError(SleepNoiseError, ValueError):
    """A recording cannot be read, or holds no usable sound."""


class CalibrationError(SleepNoiseError, ValueError):
    """A calibration cannot be established from what was given."""


class StartTimeError(SleepNoiseError, ValueError):
    """The start of a recording, its time zone or the night window cannot be told."""


class ProfileError(SleepNoiseError, ValueError):
    """A profile file is missing, malformed or contradicts its schema."""


class SettingsError(SleepNoiseError, ValueError):
    """A setting lies outside what is allowed."""


class OutputError(SleepNoiseError, OSError):
    """Results cannot be written where they were asked for."""


class PageError(SleepNoiseError, LookupError):
    """No page explains a word, or no guide has that name."""
