"""A plan heard and held against what came of it, on one screen."""

from collections.abc import Iterable

from rich.text import Text

from sleepnoise.planning.bedroom_plan import BedroomPlan
from sleepnoise.proving.after_night import AfterNight
from sleepnoise.proving.door_proof import DoorProof
from sleepnoise.proving.excerpts import LISTENING_CAUTIONS, Excerpt
from sleepnoise.proving.night_proof import NightProof
from sleepnoise.proving.promise import Promise
from sleepnoise.screens.terminal import Screen, heading, plain, show_points, show_table
from sleepnoise.wording.proving_words import (
    GAIN_BY_NIGHTS,
    WORDS,
    after_sentences,
    anew_table,
    bands_sentence,
    excerpt_sentences,
    explanations,
    held_table,
    planned_anew,
    reasons,
    verdict_table,
)


def show_after_night(after: AfterNight, excerpts: tuple[Excerpt, ...]) -> None:
    """Print what a night is like behind a plan."""
    screen = Screen()
    screen.print(Text(plain(f"{after.promise.room}: the night behind the plan"), style="bold"))
    show_points(screen, after_sentences(after))
    show_table(screen, anew_table(after))
    _listed(screen, "Why levels differ from the plan", explanations(after))
    show_table(screen, verdict_table(after))
    if excerpts:
        _listed(screen, "To listen to", (*excerpt_sentences(excerpts), *LISTENING_CAUTIONS))


def show_night_proof(promise: Promise, proof: NightProof) -> None:
    """Print a night held against a plan."""
    screen = Screen()
    screen.print(Text(plain(f"{promise.room}: the plan beside the night {proof.night}"), style="bold"))
    screen.print(Text(WORDS[proof.word]))
    rows = (*proof.rows, proof.count)
    show_table(screen, held_table("Promised and measured, dB(A) and events", rows))
    _listed(screen, "Why", reasons(rows))


def show_door_proof(promise: Promise, proof: DoorProof) -> None:
    """Print a door test held against a plan."""
    screen = Screen()
    what = f"from '{proof.gain.before}' to '{proof.gain.after}'"
    screen.print(Text(plain(f"{promise.room}: the plan beside the door test, {what}"), style="bold"))
    screen.print(Text(WORDS[proof.word]))
    show_table(screen, held_table("Gain promised and measured, dB", (proof.overall, *proof.bands)))
    _listed(screen, "Why", (*reasons((proof.overall,)), *bands_sentence(proof)))


def show_night_gain(gain: DoorProof | str) -> None:
    """Print what nights say of the installed treatment, or why they cannot tell."""
    screen = Screen()
    heading(screen, "What the nights say about the installed treatment")
    if isinstance(gain, str):
        screen.print(Text(plain(gain)))
        return
    show_table(screen, held_table("Gain promised and measured, dB", (gain.overall, *gain.bands)))
    _listed(screen, "Why", (*reasons((gain.overall,)), *bands_sentence(gain), GAIN_BY_NIGHTS))


def show_planned_anew(old: Promise, new: Promise | None, plan: BedroomPlan) -> None:
    """Print what changes in a plan made anew."""
    _listed(Screen(), "Planned anew with what was measured", planned_anew(old, new, plan))


def _listed(screen: Screen, title: str, lines: Iterable[str]) -> None:
    shown = tuple(lines)
    if shown:
        heading(screen, title)
        show_points(screen, shown)
