"""Talk from next door in an assessed night: whether it is understood, or heard, with a masker and without."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.errors import ProfileError, SettingsError
from sleepnoise.evidence.provenance import Provenance, library_versions
from sleepnoise.hearing.ageing import Listener
from sleepnoise.hearing.speech import (
    SPEECH_BANDS_HZ,
    Effort,
    SpeechPrivacy,
    Target,
    needed_masker_dba,
    speech_privacy,
    talk_behind,
)
from sleepnoise.isolation.elements import KEYS_REMEDY, Element, alike_text, shipped_elements
from sleepnoise.masking.limits import check_cap
from sleepnoise.masking.masker import MaskerShape, masker_shapes

TARGETS: tuple[Target, ...] = ("not understood", "not heard")
"""What a masker may be asked for."""

ONE_PATH = (
    "Talk is taken to come through this one element, its sound reduction index standing for the level "
    "difference from 1 m before the talker to the pillow. Gaps and other paths let more through: a measured "
    "level difference is surer."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TalkStudy:
    """What gets across of somebody's talk.

    Attributes
    ----------
    through : Element
    effort : Effort
    findings : mapping of str to SpeechPrivacy
        In words, what the sleeper hears beside it, and what then gets across.
    needed_dba : mapping of str to float, dB(A)
        By target, the quietest masker of that shape; ``-inf`` if none is needed, ``inf`` if none up to
        the cap will do.
    shape : str
    cap_dba : float, dB(A)
    remarks : tuple of str
    provenance : Provenance
    """

    through: Element
    effort: Effort
    findings: Mapping[str, SpeechPrivacy]
    needed_dba: Mapping[Target, float]
    shape: str
    cap_dba: float
    remarks: tuple[str, ...]
    provenance: Provenance


def study_talk(
    night: Path,
    through: str,
    *,
    effort: Effort = "raised",
    shape: str = "pink",
    level_dba: float | None = None,
    cap_dba: float,
    listener: Listener | None = None,
) -> TalkStudy:
    """Work out what a sleeper gets of talk next door, over the background of an assessed night.

    Parameters
    ----------
    night : Path
        Folder of an assessment.
    through : str
        Key of a construction element that has band values.
    effort : {"normal", "raised", "loud", "shout"}, optional
    shape : str, optional
        Name of a masker.
    level_dba : float, optional, dB(A)
        A masker's level to look at besides.
    cap_dba : float, dB(A)
        Loudest masker to look for.
    listener : Listener, optional

    Raises
    ------
    SleepNoiseError
        If the night, the element or the masker is not known, or the masker too loud.
    """
    check_cap(cap_dba)
    kept = read_kept_night(night)
    element, insulation = _element(through)
    masker = _shape(shape)
    talk = talk_behind(insulation, effort)
    background = kept.background_spectrum.on_bands(SPEECH_BANDS_HZ, fill_db=float("nan"))
    findings = {"the background alone": speech_privacy(talk, background, listener)}
    if level_dba is not None:
        both = background.combined(masker.at(level_dba).on_bands(SPEECH_BANDS_HZ))
        findings[f"the background with {shape} noise of {level_dba:g} dB(A)"] = speech_privacy(
            talk, both, listener
        )
    unit = masker.at(0.0).on_bands(SPEECH_BANDS_HZ)
    return TalkStudy(
        through=element,
        effort=effort,
        findings=findings,
        needed_dba={
            target: needed_masker_dba(talk, background, unit, target, cap_dba=cap_dba) for target in TARGETS
        },
        shape=shape,
        cap_dba=cap_dba,
        remarks=(ONE_PATH, *([element.note] if element.note else [])),
        provenance=Provenance(inputs=(kept.mark,), versions=library_versions()),
    )


def _element(key: str) -> tuple[Element, Spectrum]:
    known = shipped_elements()
    element = known.get(key)
    if element is None or element.insulation is None:
        what = "has no band values" if element else f"is no construction element{alike_text(key)}"
        raise ProfileError(
            f"{key!r:.80}: {what}.",
            remedy=KEYS_REMEDY,
        )
    return element, element.insulation


def _shape(name: str) -> MaskerShape:
    shapes = {shape.name: shape for shape in masker_shapes()}
    if name not in shapes:
        raise SettingsError(
            f"masker: must be one of {', '.join(shapes)}, got {name!r:.60}.", remedy="Leave the option out."
        )
    return shapes[name]
