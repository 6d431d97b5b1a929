"""A masker for an assessed night: designed for its events, held against limits, alarms and values."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.assessing.kept_night import KeptEvent, KeptNight, NightValue, read_kept_night
from sleepnoise.errors import SettingsError
from sleepnoise.evidence.provenance import FileMark, Provenance, file_mark, library_versions
from sleepnoise.hearing.ageing import Listener
from sleepnoise.hearing.audibility import (
    MODEL_BANDS_HZ,
    MODEL_UNCERTAINTY_DB,
    on_model_bands,
    with_ear_noise_of,
)
from sleepnoise.hearing.loudness import loudness_sone
from sleepnoise.isolation.steps import IsolationStep, even_step, step_from_profile
from sleepnoise.masking.alarm import Alarm, AlarmCheck, alarm_cap_dba, check_alarm
from sleepnoise.masking.cautions import MASKER_CAUTIONS
from sleepnoise.masking.design import MaskerDesign, design_masker
from sleepnoise.masking.design_settings import DesignSettings
from sleepnoise.masking.limits import (
    ADULT_TARGET_DBA,
    LOWEST_LEVEL_DBA,
    Sleeper,
    check_sleeper,
    with_masker,
)
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.planning.first_plan import heard_events
from sleepnoise.profiles.files import read_treatment, shipped_profiles
from sleepnoise.profiles.schema import TreatmentProfile

BEHIND = (
    "A treatment takes what its profile says off events and background alike. In a real room other paths "
    "leave less of it: measure again behind it before a masker is set."
)
"""Said when a masker is designed behind a treatment. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskerWishes:
    """What a user wants of a masker.

    Attributes
    ----------
    design : DesignSettings
    events : tuple of int
        Numbers of the events that count; all when empty.
    behind : str or None
        Key or file of a treatment behind which the masker is to do its work.
    sleeper : Sleeper
    alarms : tuple of Alarm
        As they arrive at the pillow now, the door shut; none when nobody said.
    listener : Listener
        Whose ears events are covered for; a young adult, the most sensitive one, when nobody said.
    """

    design: DesignSettings
    events: tuple[int, ...] = ()
    behind: str | None = None
    sleeper: Sleeper = field(default_factory=Sleeper)
    alarms: tuple[Alarm, ...] = ()
    listener: Listener = field(default_factory=Listener)


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueOutcome:
    """A published value and the night's LAeq above it (below it if negative), dB, without and with masker."""

    value: NightValue
    above_without_db: float
    above_with_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskerStudy:
    """A masker and everything that should be known before it is switched on.

    Attributes
    ----------
    night : str
        Name of the assessed night.
    step : IsolationStep
        Behind which it does its work; the room as it is unless asked otherwise.
    events : tuple of KeptEvent
        Those that counted, in the order of ``design.outcomes``.
    design : MaskerDesign
    uncertainty_db : float, dB
        Of the audibility model.
    loudness_sone : float
        Of the masker; 0 without one.
    laeq_without, laeq_with : float, dB
        Of the night window as it was measured, and with the masker on all through it.
    values : tuple of ValueOutcome
    alarms : tuple of AlarmCheck
        Each alarm as the room is, then behind each treatment of a door, with the masker on.
    remarks, cautions : tuple of str
    provenance : Provenance
    """

    night: str
    step: IsolationStep
    events: tuple[KeptEvent, ...]
    design: MaskerDesign
    uncertainty_db: float
    loudness_sone: float
    laeq_without: float
    laeq_with: float
    values: tuple[ValueOutcome, ...]
    alarms: tuple[AlarmCheck, ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    provenance: Provenance


def study_masker(folder: Path, wishes: MaskerWishes) -> MaskerStudy:
    """Design a masker for a night that was assessed.

    Parameters
    ----------
    folder : Path
        That ``assess`` wrote.
    wishes : MaskerWishes

    Raises
    ------
    SleepNoiseError
        For everything that a user can cause: among it a masker for an infant that nobody
        confirmed, one above 50 dB(A), and an alarm that leaves no room for any.
    """
    check_sleeper(wishes.sleeper)
    night = read_kept_night(folder)
    events = _events(night, wishes.events)
    step, at_door = _step(wishes.behind)
    alarm_step = step if at_door else even_step(0.0)
    loss_db = step.loss.on_bands(MODEL_BANDS_HZ).levels_db
    background = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=on_model_bands(night.background_spectrum))
    alarms = _Alarms(given=wishes.alarms, background=background, step=alarm_step)
    settings = alarms.within(wishes.design)
    signal_db, background_db = heard_events(events)
    heard_with_db = with_ear_noise_of(wishes.listener, background_db - loss_db)
    design = design_masker(signal_db - loss_db, heard_with_db, settings, masker_shapes())
    laeq_with = with_masker(night.laeq, design.level_dba)
    return MaskerStudy(
        night=night.name,
        step=step,
        events=events,
        design=design,
        uncertainty_db=MODEL_UNCERTAINTY_DB,
        loudness_sone=loudness_sone(design.spectrum) if design.level_dba > -np.inf else 0.0,
        laeq_without=night.laeq,
        laeq_with=laeq_with,
        values=tuple(
            ValueOutcome(
                value=value,
                above_without_db=night.laeq - value.level_db,
                above_with_db=laeq_with - value.level_db,
            )
            for value in night.values
        ),
        alarms=tuple(alarms.checked(design.spectrum)),
        remarks=tuple(_remarks(wishes, settings, design, step)),
        cautions=MASKER_CAUTIONS,
        provenance=Provenance(
            inputs=(night.mark, *_profile_marks(wishes.behind)), versions=library_versions()
        ),
    )


def _events(night: KeptNight, wanted: Sequence[int]) -> tuple[KeptEvent, ...]:
    numbers = {event.number for event in night.events}
    unknown = [number for number in wanted if number not in numbers]
    if unknown:
        raise SettingsError(
            f"events: the night has events 1 to {max(numbers, default=0)}, got {unknown[0]}.",
            remedy="See events.csv in its folder for their numbers.",
        )
    return tuple(event for event in night.events if not wanted or event.number in wanted)


def _step(behind: str | None) -> tuple[IsolationStep, bool]:
    """Return the step, and whether it is made at the door, by which an alarm is taken to come."""
    if behind is None:
        return even_step(0.0), False
    profile = read_treatment(behind)
    if not profile.insertion_loss_db:
        raise SettingsError(
            f"{behind}: this treatment says what it does only in a room whose parts are known.",
            remedy="Choose one with an insertion loss; see 'sleepnoise profiles list'.",
        )
    return step_from_profile(Path(behind).stem, profile), _at_door(profile)


def _at_door(profile: TreatmentProfile) -> bool:
    """Return whether a treatment counts for the door; one that does not say where it is made does."""
    return not profile.parts or "door" in profile.parts


def _door_steps() -> Iterator[IsolationStep]:
    for shipped in shipped_profiles("treatment"):
        profile = read_treatment(shipped.path)
        if profile.insertion_loss_db and _at_door(profile):
            yield step_from_profile(shipped.name, profile)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Alarms:
    """Alarms as they arrive now, the night's background, and the step taken at the door."""

    given: tuple[Alarm, ...]
    background: Spectrum
    step: IsolationStep

    def within(self, settings: DesignSettings) -> DesignSettings:
        """Return settings whose cap leaves every alarm 15 dB over masker and background, behind the step.

        Raises
        ------
        SettingsError
            If that leaves no room for a masker.
        """
        silence = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=np.full(len(MODEL_BANDS_HZ), -np.inf))
        checks = [self._check(alarm, silence, self.step) for alarm in self.given]
        caps_dba = [alarm_cap_dba(check.level_dba, check.noise_dba) for check in checks]
        cap_dba = min(caps_dba, default=math.inf)
        if cap_dba < LOWEST_LEVEL_DBA:
            raise SettingsError(
                f"masker: the alarm leaves no room for one: behind {self.step.title!r} it is "
                f"{min(check.level_dba for check in checks):.1f} dB(A) at the pillow, and should stay "
                "15 dB over masker and background.",
                remedy="Fit an interlinked alarm inside the bedroom first, and measure it at the pillow.",
            )
        return replace(settings, cap_dba=min(settings.cap_dba, cap_dba))

    def checked(self, masker: Spectrum) -> Iterator[AlarmCheck]:
        """Yield each alarm with the masker on: as the room is, behind the step, behind others at a door."""
        steps = {each.key: each for each in (even_step(0.0), self.step, *_door_steps())}
        for alarm in self.given:
            yield from (self._check(alarm, masker, each) for each in steps.values())

    def _check(self, alarm: Alarm, masker: Spectrum, step: IsolationStep) -> AlarmCheck:
        return check_alarm(alarm, masker, self.background, step.title, step.loss.on_bands(MODEL_BANDS_HZ))


def _profile_marks(behind: str | None) -> Iterator[FileMark]:
    paths = [profile.path for profile in shipped_profiles("masker")]
    yield from (file_mark(path, "masker profile") for path in paths)
    if behind is not None:
        by_name = {profile.name: profile.path for profile in shipped_profiles("treatment")}
        yield file_mark(by_name.get(behind, Path(behind)), "treatment profile")


def _remarks(
    wishes: MaskerWishes, settings: DesignSettings, design: MaskerDesign, step: IsolationStep
) -> Iterator[str]:
    if wishes.listener != Listener():
        yield (
            f"Covered for the middle of people of {wishes.listener.age_years:g} years (ISO 7029:2017): half "
            "of them and everybody younger hear more. A masker for a young adult is the safe side."
        )
    if settings.cap_dba < wishes.design.cap_dba:
        yield (
            f"The cap is {settings.cap_dba:.1f} dB(A) instead of {wishes.design.cap_dba:g}: the alarm at the "
            "pillow stays 15 dB over masker and background then."
        )
    if design.level_dba > ADULT_TARGET_DBA:
        yield (
            f"The masker is louder than the {ADULT_TARGET_DBA:g} dB(A) to aim at. Keep more of the noise out "
            "first."
        )
    if -np.inf < design.level_dba < LOWEST_LEVEL_DBA:
        yield (
            f"So quiet a masker, below {LOWEST_LEVEL_DBA:g} dB(A), can be neither set nor measured; do "
            "without it."
        )
    if wishes.behind is not None:
        yield BEHIND
        yield from step.cautions
    if not wishes.alarms:
        yield (
            "Nothing was said of a smoke or carbon monoxide alarm. Measure it at the pillow with the door "
            "shut (--alarm-level), or say how far away it is (--alarm-distance), before a masker is used."
        )
    if wishes.sleeper.infant:
        yield (
            "For an infant: as quiet and as far away as possible, never all night as a habit; a "
            "paediatrician comes first."
        )
