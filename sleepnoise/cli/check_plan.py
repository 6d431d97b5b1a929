"""The command ``check-plan``: what a plan promised, held against what was measured afterwards."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sleepnoise.cli.options import FILE, Grouped, option
from sleepnoise.errors import SettingsError

if TYPE_CHECKING:
    from sleepnoise.assessing.kept_night import KeptNight
    from sleepnoise.planning.bedroom_plan import BedroomPlan
    from sleepnoise.proving.door_proof import DoorProof
    from sleepnoise.proving.kept_plan import KeptPlan
    from sleepnoise.proving.promise import Promise

AFTER, ANEW = "Measured afterwards (one or both)", "To learn from it and plan anew"
RESULT = "Result"


@click.command("check-plan", cls=Grouped)
@click.argument("plan", type=FILE, metavar="PLAN.json")
@option(AFTER, "--night", FILE, "FOLDER", "Assessment of a night after the work. [repeatable]", multiple=True)
@option(AFTER, "--same-recorder", bool, None, "Same recorder, calibration and place as before.")
@option(AFTER, "--door-test", FILE, "FILE", "What 'door-test --json' printed, before and after the work.")
@option(AFTER, "--part", str, "KEY", "Part of the room that was tested, if the plan treats several.")
@option(
    ANEW,
    "--before",
    FILE,
    "FOLDER",
    "The plan's assessments, in its order: nights then tell the treatment's gain. [repeatable]",
    multiple=True,
)
@option(ANEW, "--room", FILE, "FILE", "Plan anew with that gain: the bedroom's file that the plan rests on.")
@option(RESULT, "--json", bool, None, "Print everything, unrounded, as JSON.")
def command(
    plan: Path,
    night: tuple[Path, ...],
    same_recorder: bool,
    door_test: Path | None,
    part: str | None,
    room: Path | None,
    before: tuple[Path, ...],
    json: bool,
) -> None:
    """Hold what PLAN.json promised against nights or a door test after the work.

    With the plan's own nights, nights after the work also tell what the treatment brings, band by
    band, if a named source is heard in both. With the room's file the plan is made anew with what was
    measured: by the door test where there is one.
    """
    from sleepnoise.assessing.kept_night import read_kept_night
    from sleepnoise.proving.door_proof import prove_by_door_test, read_door_gain
    from sleepnoise.proving.kept_plan import read_plan
    from sleepnoise.proving.night_proof import prove_by_night

    _check(night, door_test, room, before)
    kept = read_plan(plan)
    after = [read_kept_night(folder) for folder in night]
    proofs = [prove_by_night(kept.promise, each, same_recorder=same_recorder) for each in after]
    door = None if door_test is None else prove_by_door_test(kept.promise, read_door_gain(door_test), part)
    gain = _gain(kept, before, after, part, same_recorder) if before and after else None
    learnt = door if door is not None or isinstance(gain, str) else gain
    anew = None if room is None or learnt is None else _plan_anew(kept, learnt, room, before)
    if json:
        from sleepnoise.dossier.proof_document import checked_document
        from sleepnoise.evidence.plain import document_text

        document = checked_document(kept.promise, proofs, door, gain, anew[1] if anew else None)
        sys.stdout.buffer.write(document_text(document).encode())
        return
    from sleepnoise.screens.proving_summary import (
        show_door_proof,
        show_night_gain,
        show_night_proof,
        show_planned_anew,
    )

    for proof in proofs:
        show_night_proof(kept.promise, proof)
    if door is not None:
        show_door_proof(kept.promise, door)
    if gain is not None:
        show_night_gain(gain)
    if anew is not None:
        show_planned_anew(kept.promise, anew[1], anew[0])


def _check(
    night: tuple[Path, ...], door_test: Path | None, room: Path | None, before: tuple[Path, ...]
) -> None:
    if not night and door_test is None:
        raise SettingsError(
            "check-plan: nothing was measured afterwards.",
            remedy="Give --night FOLDER, --door-test FILE or both.",
        )
    if (room is not None and not before) or (before and not night and room is None):
        raise SettingsError(
            "check-plan: a plan is made anew from what was measured, the room's file and the plan's nights.",
            remedy="Give --room and --before together with --door-test or --night, or leave both out.",
        )


def _gain(
    kept: "KeptPlan",
    before: tuple[Path, ...],
    after: "list[KeptNight]",
    part: str | None,
    same_recorder: bool,
) -> "DoorProof | str":
    """Return what nights say of the treatment, or why they cannot tell."""
    from sleepnoise.assessing.kept_night import read_kept_night
    from sleepnoise.proving.night_gain import prove_gain_by_nights

    kept.check_nights(before)
    try:
        return prove_gain_by_nights(
            kept.promise,
            [read_kept_night(folder) for folder in before],
            after,
            part,
            same_recorder=same_recorder,
        )
    except SettingsError as error:
        return f"{error.complaint} {error.remedy}"


def _plan_anew(
    kept: "KeptPlan", tested: "DoorProof", room: Path, before: tuple[Path, ...]
) -> "tuple[BedroomPlan, Promise | None]":
    from sleepnoise.planning.bedroom_plan import planned_bedroom
    from sleepnoise.proving.door_proof import problem_as_tested
    from sleepnoise.proving.promise import promise_of

    problem, study = kept.problem(room, before)
    plan = planned_bedroom(problem_as_tested(problem, kept.promise, tested), study, kept.promise.nights)
    return plan, promise_of(plan)
