"""The command ``check-plan``: what a plan promised, held against what was measured afterwards."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sleepnoise.cli.options import FILE, Grouped, option
from sleepnoise.errors import SettingsError

if TYPE_CHECKING:
    from sleepnoise.proving.door_proof import DoorProof
    from sleepnoise.proving.kept_plan import KeptPlan

AFTER, ANEW = "Measured afterwards (one or both)", "To plan anew with what was measured"


@click.command("check-plan", cls=Grouped)
@click.argument("plan", type=FILE, metavar="PLAN.json")
@option(AFTER, "--night", FILE, "FOLDER", "Assessment of a night after the work. [repeatable]", multiple=True)
@option(AFTER, "--same-recorder", bool, None, "Same recorder, calibration and place as before.")
@option(AFTER, "--door-test", FILE, "FILE", "What 'door-test --json' printed, before and after the work.")
@option(AFTER, "--part", str, "KEY", "Part of the room that was tested, if the plan treats several.")
@option(ANEW, "--room", FILE, "FILE", "The bedroom's file that the plan was made from.")
@option(ANEW, "--before", FILE, "FOLDER", "Its assessments, in the plan's order. [repeatable]", multiple=True)
def command(
    plan: Path,
    night: tuple[Path, ...],
    same_recorder: bool,
    door_test: Path | None,
    part: str | None,
    room: Path | None,
    before: tuple[Path, ...],
) -> None:
    """Hold what PLAN.json promised against nights or a door test after the work.

    With the room's file and the plan's nights the plan is also made anew, with the door as measured.
    """
    from sleepnoise.assessing.kept_night import read_kept_night
    from sleepnoise.proving.door_proof import prove_by_door_test, read_door_gain
    from sleepnoise.proving.kept_plan import read_plan
    from sleepnoise.proving.night_proof import prove_by_night
    from sleepnoise.screens.proving_summary import show_door_proof, show_night_proof

    _check(night, door_test, room, before)
    kept = read_plan(plan)
    for folder in night:
        proof = prove_by_night(kept.promise, read_kept_night(folder), same_recorder=same_recorder)
        show_night_proof(kept.promise, proof)
    if door_test is not None:
        tested = prove_by_door_test(kept.promise, read_door_gain(door_test), part)
        show_door_proof(kept.promise, tested)
        if room is not None:
            _plan_anew(kept, tested, room, before)


def _check(
    night: tuple[Path, ...], door_test: Path | None, room: Path | None, before: tuple[Path, ...]
) -> None:
    if not night and door_test is None:
        raise SettingsError(
            "check-plan: nothing was measured afterwards.",
            remedy="Give --night FOLDER, --door-test FILE or both.",
        )
    if (room is None) == bool(before) or (room is not None and door_test is None):
        raise SettingsError(
            "check-plan: a plan is made anew from a door test, the room's file and the plan's nights.",
            remedy="Give --door-test, --room and --before together, or leave the last two out.",
        )


def _plan_anew(kept: "KeptPlan", tested: "DoorProof", room: Path, before: tuple[Path, ...]) -> None:
    from sleepnoise.planning.bedroom_plan import planned_bedroom
    from sleepnoise.proving.door_proof import problem_as_tested
    from sleepnoise.proving.promise import promise_of
    from sleepnoise.screens.proving_summary import show_planned_anew

    problem, study = kept.problem(room, before)
    plan = planned_bedroom(problem_as_tested(problem, kept.promise, tested), study, kept.promise.nights)
    show_planned_anew(kept.promise, promise_of(plan), plan)
