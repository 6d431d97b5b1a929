"""The command ``design-masker``: the quietest masking sound for an assessed night, as a file to play."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli.options import FILE, Grouped, option
from sleepnoise.errors import SettingsError

if TYPE_CHECKING:
    from sleepnoise.masking.alarm import Alarm, Pitch
    from sleepnoise.trials.masker_study import MaskerStudy, MaskerWishes

AIM, LIMITS, WHO, ALARM, SOUND, RESULT = (
    "What it is for", "Limits", "Who sleeps there", "Alarm", "Sound file", "Result",
)  # fmt: skip
AIMS = click.Choice(["inaudible", "hardly audible", "not noticeable"])
AIMS_TOGETHER = ("hardly audible", "not noticeable")
"""Aims of published criteria, which put all bands together."""
PITCHES = click.Choice(["high", "low"])

SECONDS = 600.0
"""Length of the sound unless told otherwise, s. Chosen: ten minutes, to be repeated; a small file."""


@click.command("design-masker", cls=Grouped)
@click.argument("folder", type=FILE)
@option(AIM, "--aim", AIMS, None, "What events are to be. [default: inaudible]")
@option(AIM, "--margin", float, "DB", "Instead: audibility margin that they may have.")
@option(AIM, "--events", str, "LIST", "Events that count, such as 1,3,8-12. [default: all]")
@option(AIM, "--behind", str, "NAME", "Treatment behind which it works; see 'profiles list'.")
@option(LIMITS, "--cap", float, "DB", "Loudest masker, at most 50 dB(A). [default: 40]")
@option(LIMITS, "--lowest-band", float, "HZ", "Lowest third octave the loudspeaker plays. [default: 100]")
@option(LIMITS, "--highest-band", float, "HZ", "Highest one. [default: 12500]")
@option(LIMITS, "--band-limit", str, "HZ=DB", "Highest level of one band. [repeatable]", multiple=True)
@option(LIMITS, "--neighbour-step", float, "DB", "Largest step between bands, at most 5. [default: 3]")
@option(WHO, "--age", float, "YEARS", "Of the sleeper. [default: a young adult, the safe side]")
@option(WHO, "--infant", bool, None, "An infant or toddler: no masker, unless a carer confirms it.")
@option(WHO, "--carer-confirms", bool, None, "A carer, advised by a paediatrician, wants one all the same.")
@option(WHO, "--distance", float, "M", "From the loudspeaker to the sleeper; 2 m or more for an infant.")
@option(ALARM, "--alarm-level", float, "DB", "Measured at the pillow, door shut.")
@option(ALARM, "--alarm-pitch", PITCHES, None, "Of that alarm: 3.1 kHz or 520 Hz. [default: high]")
@option(ALARM, "--alarm-distance", float, "M", "Instead, to estimate it: how far away it hangs.")
@option(ALARM, "--door-loss", float, "DB", "What the shut door takes off it. [default: 23]")
@option(SOUND, "--sound", FILE, "FILE", "Write the sound, .wav or .flac.")
@option(SOUND, "--seconds", float, "S", "Its length. [default: 600]")
@option(SOUND, "--fade", float, "S", "Fade at both ends. [default: none, so that it can be repeated]")
@option(SOUND, "--rate", int, "HZ", "Sampling rate. [default: 48000]")
@option(SOUND, "--channels", int, "N", "1, or 2 that are uncorrelated. [default: 2]")
@option(SOUND, "--seed", int, "N", "Which of many such noises. [default: 1]")
@option(RESULT, "--out", FILE, "FILE", "Write the design, .json, for check-masker.")
@option(RESULT, "--json", bool, None, "Print the design as JSON, and nothing else.")
@option(RESULT, "--force", bool, None, "Replace files that exist.")
def command(
    folder: Path, sound: Path | None, out: Path | None, json: bool, force: bool, **chosen: Any
) -> None:
    """Design the quietest masking sound for the events of an assessed night.

    FOLDER is what 'sleepnoise assess' wrote. A masker is a last resort: what it cannot cover, and
    what it costs, is said. It is never louder than 50 dB(A) at the pillow.
    """
    from sleepnoise.dossier.masker_document import masker_document
    from sleepnoise.evidence.placing import check_file_place, write_file
    from sleepnoise.evidence.plain import document_text
    from sleepnoise.trials.masker_study import study_masker
    from sleepnoise.trials.sound_file import FORMATS, check_sound_path

    if sound is not None:
        check_sound_path(sound, tuple(FORMATS), force=force)
    if out is not None:
        check_file_place(out, force=force)
    study = study_masker(folder, _wishes(chosen))
    written = []
    if out is not None:
        write_file(out, document_text(masker_document(study)), force=force)
        written.append(f"The design is in {out}.")
    if sound is not None:
        written.append(_written_sound(study, sound, chosen, force=force))
    if json:
        sys.stdout.buffer.write(document_text(masker_document(study)).encode())
        return
    from sleepnoise.screens.masker_sheet import show_masker

    show_masker(study, written)


def _wishes(chosen: dict[str, Any]) -> "MaskerWishes":
    from sleepnoise.hearing.ageing import Listener
    from sleepnoise.masking.design_settings import DesignSettings
    from sleepnoise.masking.limits import Sleeper
    from sleepnoise.trials.masker_study import MaskerWishes

    names = {
        "cap": "cap_dba",
        "lowest_band": "lowest_hz",
        "highest_band": "highest_hz",
        "neighbour_step": "neighbour_step_db",
    }
    given = {field: chosen[name] for name, field in names.items() if chosen[name] is not None}
    distance = {} if chosen["distance"] is None else {"distance_m": chosen["distance"]}
    return MaskerWishes(
        design=DesignSettings(
            margin_db=_margin(chosen),
            together=chosen["aim"] in AIMS_TOGETHER,
            band_limits_db=dict(map(_band_limit, chosen["band_limit"])),
            **given,
        ),
        events=_numbers(chosen["events"] or ""),
        behind=chosen["behind"],
        sleeper=Sleeper(infant=chosen["infant"], carer_confirms=chosen["carer_confirms"], **distance),
        alarms=_alarms(chosen),
        listener=Listener() if chosen["age"] is None else Listener(age_years=chosen["age"]),
    )


def _margin(chosen: dict[str, Any]) -> float:
    from sleepnoise.hearing.audibility import TARGETS_DB

    if chosen["aim"] is not None and chosen["margin"] is not None:
        raise SettingsError("masker: --aim and --margin say the same.", remedy="Give one of them.")
    return TARGETS_DB[chosen["aim"] or "inaudible"] if chosen["margin"] is None else float(chosen["margin"])


def _band_limit(word: str) -> tuple[float, float]:
    hz, _, db = word.partition("=")
    try:
        return float(hz), float(db)
    except ValueError:
        raise SettingsError(
            f"band limit: must be a band and a level such as 63=40, got {word!r:.40}.", remedy="Give HZ=DB."
        ) from None


def _numbers(text: str) -> tuple[int, ...]:
    """Return the numbers of a list such as ``1,3,8-12``."""
    numbers: list[int] = []
    for part in filter(None, text.split(",")):
        first, dash, last = part.partition("-")
        if not first.strip().isdecimal() or (dash and not last.strip().isdecimal()) or len(part) > 12:
            raise SettingsError(
                f"events: must be numbers such as 1,3,8-12, got {part!r:.40}.",
                remedy="See events.csv for their numbers.",
            )
        numbers += range(int(first), min(int(last or first), int(first) + 100_000) + 1)
    return tuple(numbers)


def _alarms(chosen: dict[str, Any]) -> "tuple[Alarm, ...]":
    from sleepnoise.masking.alarm import DOOR_LOSS_DB, estimated_alarm, measured_alarm

    level_dba, distance_m, loss_db = (chosen[name] for name in ("alarm_level", "alarm_distance", "door_loss"))
    if level_dba is not None:
        if distance_m is not None or loss_db is not None:
            raise SettingsError(
                "alarm: a level measured at the pillow needs no distance and no door loss.",
                remedy="Leave --alarm-distance and --door-loss out.",
            )
        return (measured_alarm(chosen["alarm_pitch"] or "high", level_dba),)
    if distance_m is None:
        if loss_db is not None or chosen["alarm_pitch"] is not None:
            raise SettingsError(
                "alarm: neither its level at the pillow nor its distance was given.",
                remedy="Add --alarm-level or --alarm-distance.",
            )
        return ()
    pitches: tuple[Pitch, ...] = (chosen["alarm_pitch"],) if chosen["alarm_pitch"] else ("high", "low")
    return tuple(
        estimated_alarm(pitch, distance_m, DOOR_LOSS_DB if loss_db is None else loss_db) for pitch in pitches
    )


def _written_sound(study: "MaskerStudy", path: Path, chosen: dict[str, Any], *, force: bool) -> str:
    """Write the sound and return what to say of it."""
    from sleepnoise.masking.synthesis import MaskerSound, masker_blocks
    from sleepnoise.screens import terminal
    from sleepnoise.trials.sound_file import write_sound_file

    if study.design.level_dba == float("-inf"):
        return "No sound was written: there is no masker."
    names = {"rate": "sample_rate_hz", "channels": "channels", "seed": "seed", "fade": "fade_s"}
    given = {field: chosen[name] for name, field in names.items() if chosen[name] is not None}
    seconds = SECONDS if chosen["seconds"] is None else chosen["seconds"]
    sound = MaskerSound(spectrum=study.design.spectrum, seconds=seconds, **given)
    with terminal.progress(path.name, "Writing") as on_progress:
        write_sound_file(
            path,
            masker_blocks(sound),
            frames=int(sound.frames),
            channels=sound.channels,
            sample_rate_hz=sound.sample_rate_hz,
            subtype="PCM_24",
            force=force,
            on_progress=on_progress,
        )
    ending = (
        "fades in and out" if sound.fade_s else "its end joins its beginning, so let the player repeat it"
    )
    return (
        f"The sound is in {path}: {seconds:g} s, {ending}; largest sample 6 dB below full scale. "
        f"Its level is set at the pillow: {study.design.level_dba:.1f} dB(A)."
    )
