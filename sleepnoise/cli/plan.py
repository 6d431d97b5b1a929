"""The command ``plan``: what to do in one bedroom, and in which order."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sleepnoise.cli.assess import SOURCE_KINDS
from sleepnoise.cli.options import FILE, Grouped, option
from sleepnoise.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sleepnoise.assessing.kept_night import KeptNight
    from sleepnoise.planning.bedroom_plan import BedroomPlan, PublishedLimits
    from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes
    from sleepnoise.planning.problem import Wish

ROOM, TARGET, MEANS = "Room and nights", "Target", "What may be used"
RESULT = "Result"
WHOLE = 100.0
"""A share as a percentage. Chosen: as people write it."""


@click.command("plan", cls=Grouped)
@click.argument("folders", type=FILE, metavar="ASSESSMENT_FOLDER...", nargs=-1, required=True)
@click.option("--room", type=FILE, required=True, metavar="FILE", help="The bedroom's file.")
@option(
    ROOM,
    "--from",
    str,
    "SIDE=EVENTS",
    "Where events come from: hall, outdoors, neighbour or inside, then numbers or labels, such as "
    "hall=2,3,5; a second night's are 2:14. May be repeated. [default: guessed from the room file]",
    multiple=True,
)
@option(ROOM, "--background-inside", float, "SHARE", "Part of the background made in the room. [default: 0]")
@option(
    TARGET,
    "--target",
    click.Choice(["inaudible", "hardly audible", "not noticeable"]),
    None,
    "How well events are to be hidden. [default: not noticeable]",
)
@option(
    TARGET, "--margin", float, "DB", "Instead: audibility that they stay below, 0 at the limit of hearing."
)
@option(TARGET, "--age", float, "YEARS", "Of the sleeper. [default: a young adult, the safe side]")
@option(
    TARGET,
    "--events-allowed",
    str,
    "N",
    "Events that may stay audible, a night; or a share such as 10%. [default: 0]",
)
@option(TARGET, "--laeq", float, "DB", "LAeq to keep, masker included.")
@option(TARGET, "--lafmax", float, "DB", "LAFmax to keep, masker included.")
@option(
    TARGET,
    "--guideline",
    str,
    "NAME",
    "Published values to keep: a name from 'profiles list' or a .toml file, or NAME:CRITERION. "
    "May be repeated.",
    multiple=True,
)
@option(
    TARGET,
    "--source-kind",
    click.Choice(SOURCE_KINDS),
    None,
    "What makes the sound, for values that ask for it.",
)
@option(TARGET, "--windows", click.Choice(["open", "closed"]), None, "How the windows stand, likewise.")
@option(TARGET, "--lafmax-allowed", int, "N", "Events that may exceed it, a night. [default: 0]")
@option(MEANS, "--budget", float, "MONEY", "Most money. [default: any]")
@option(MEANS, "--masker-cap", float, "DB", "Loudest masker, dB(A). [default: 40]")
@option(MEANS, "--masker-step", float, "DB", "Spacing of masker levels. [default: 1]")
@option(MEANS, "--masker-worth", float, "MONEY", "What 1 dB(A) less of masker is worth. [default: 20]")
@option(MEANS, "--lowest-band", float, "HZ", "Lowest band that the loudspeaker plays. [default: 100]")
@option(MEANS, "--no-masker", bool, None, "Isolation only.")
@option(MEANS, "--forbid", str, "KEY", "Leave out a treatment, or KEY@PART. May be repeated.", multiple=True)
@option(MEANS, "--require", str, "KEY", "Do a treatment, or KEY@PART. May be repeated.", multiple=True)
@option(MEANS, "--alarm-floor", float, "DB", "Smoke alarm to keep at the pillow, dB(A).")
@option(
    MEANS,
    "--alarm-pitch",
    click.Choice(["high", "low"]),
    None,
    "Of the smoke alarm: 3.1 kHz or 520 Hz. [default: both are shown]",
)
@option(
    RESULT,
    "--certainty",
    click.FloatRange(50.0, 99.0),
    "PERCENT",
    "Also seek a plan that is so sure, such as 80. May be repeated.",
    multiple=True,
)
@option(RESULT, "--out", FILE, "FILE.json", "Also keep the plan as a file, for 'hear-plan' and 'check-plan'.")
@option(RESULT, "--page", FILE, "FILE.html", "Also write it as one page with figures.")
@option(RESULT, "--force", bool, None, "Replace a file of that name.")
@option(RESULT, "--json", bool, None, "Print everything, unrounded, as JSON.")
def command(
    folders: tuple[Path, ...],
    room: Path,
    out: Path | None,
    page: Path | None,
    force: bool,
    json: bool,
    **asked: Any,
) -> None:
    """Plan isolation and masking for the bedroom of ROOM.toml from assessed nights.

    ASSESSMENT_FOLDER is what 'assess' wrote. Every allowed combination of treatments is weighed with
    every masker; what fire, escape, air or consent forbid is left out.
    """
    from sleepnoise.dossier.plan_document import plan_document
    from sleepnoise.evidence.placing import check_file_place, write_file
    from sleepnoise.evidence.plain import document_text

    for place in filter(None, (out, page)):
        check_file_place(place, force=force)
    plan, used = _plan(folders, room, asked)
    if json or out is not None or page is not None:
        document = plan_document(plan, room, folders, used)
        if out is not None:
            write_file(out, document_text(document), force=force)
        if page is not None:
            write_file(page, _page(document, plan), force=force)
        if json:
            sys.stdout.buffer.write(document_text(document).encode())
            return
    from sleepnoise.screens.plan_summary import show_bedroom_plan

    show_bedroom_plan(plan)


def _page(document: dict[str, Any], plan: "BedroomPlan") -> str:
    from sleepnoise.dossier.plan_summary import plan_from
    from sleepnoise.report.finding_pages import plan_page
    from sleepnoise.wording.planning_words import notes

    return plan_page(plan_from(document, "plan"), notes(plan))


def _plan(
    folders: tuple[Path, ...], room: Path, asked: dict[str, Any]
) -> "tuple[BedroomPlan, tuple[RoomWishes, MaskerChoices]]":
    """Return the plan, and what it was made with."""
    from sleepnoise.assessing.kept_night import read_kept_night
    from sleepnoise.assessing.published_limits import published_limits
    from sleepnoise.hearing.ageing import Listener
    from sleepnoise.masking.design_settings import LOWEST_PLAYED_HZ
    from sleepnoise.masking.masker import masker_shapes
    from sleepnoise.planning.bedroom_plan import plan_bedroom
    from sleepnoise.planning.bedroom_problem import MaskerChoices, RoomWishes
    from sleepnoise.planning.room_study import study_room

    nights = [read_kept_night(folder) for folder in folders]
    limits = published_limits(asked["guideline"], _window(nights), asked["source_kind"], asked["windows"])
    wish = _wish(asked, limits, len(nights), sum(len(night.events) for night in nights))
    wishes = RoomWishes(
        origins=_origins(asked["from"]),
        background_inside=asked["background_inside"] or 0.0,
        forbidden=asked["forbid"],
        required=asked["require"],
        alarm_pitch=asked["alarm_pitch"],
    )
    maskers = MaskerChoices(
        shapes=() if asked["no_masker"] else masker_shapes(),
        shaped=not asked["no_masker"],
        lowest_hz=LOWEST_PLAYED_HZ if asked["lowest_band"] is None else asked["lowest_band"],
    )
    certainties = [each / WHOLE for each in asked["certainty"]]
    listener = Listener() if asked["age"] is None else Listener(age_years=asked["age"])
    plan = plan_bedroom(
        nights,
        study_room(room),
        wishes,
        maskers,
        wish,
        certainties=certainties,
        listener=listener,
        limits=limits,
    )
    return plan, (wishes, maskers)


def _window(nights: "Sequence[KeptNight]") -> tuple[str, str]:
    """Return the clock times of the nights; none where they differ."""
    windows = {night.window for night in nights}
    return windows.pop() if len(windows) == 1 else ("", "")


def _wish(asked: dict[str, Any], limits: "PublishedLimits", nights: int, events: int) -> "Wish":
    from sleepnoise.hearing.audibility import TARGETS_DB
    from sleepnoise.planning.problem import Wish

    if asked["margin"] is not None and asked["target"] is not None:
        raise SettingsError("target and margin: say the same thing twice.", remedy="Give one of them.")
    if limits.lafmax is not None and (asked["lafmax"] is not None or asked["lafmax_allowed"] is not None):
        raise SettingsError(
            "LAFmax: a guideline was named, and a value or count of your own given as well.",
            remedy="Leave --lafmax and --lafmax-allowed out, or name another criterion as NAME:CRITERION.",
        )
    allowed = (asked["lafmax_allowed"] or 0) if limits.lafmax is None else limits.lafmax[1]
    target_db = TARGETS_DB[asked["target"] or "not noticeable"]
    given = {
        "budget": asked["budget"],
        "cap_dba": asked["masker_cap"],
        "masker_step_db": asked["masker_step"],
        "masker_worth": asked["masker_worth"],
        "laeq_limit_dba": limits.laeq_dba if asked["laeq"] is None else min(asked["laeq"], limits.laeq_dba),
        "lafmax_limit_dba": asked["lafmax"] if limits.lafmax is None else limits.lafmax[0],
        "alarm_floor_dba": asked["alarm_floor"],
    }
    return Wish(
        margin_db=target_db if asked["margin"] is None else asked["margin"],
        events_allowed=_allowed(asked["events_allowed"] or "0", nights, events),
        lafmax_allowed=allowed * nights,
        **{name: value for name, value in given.items() if value is not None},
    )


def _allowed(text: str, nights: int, events: int) -> int:
    """Return how many events of all nights may stay audible, from a number a night or a share."""
    try:
        if text.endswith("%"):
            return int(float(text[:-1]) / WHOLE * events + 1e-9)
        return int(text) * nights
    except (ValueError, OverflowError):
        raise SettingsError(
            f"events allowed: must be a whole number, or a share such as 10%, got {text!r:.20}.",
            remedy="Give for example 2, or 10%.",
        ) from None


def _origins(given: tuple[str, ...]) -> dict[str, str]:
    """Return the origin of each event or label that was named."""
    found: dict[str, str] = {}
    for text in given:
        side, equals, names = text.partition("=")
        if not equals or not names.strip():
            raise SettingsError(
                f"from: must be a side, an equals sign and events, got {text!r:.60}.",
                remedy="Write for example --from hall=2,3,5.",
            )
        found |= {name.strip(): side.strip() for name in names.split(",")}
    return found
