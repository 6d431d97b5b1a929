"""What a plan says in words, the same for a plan just made and one that was kept."""

from collections.abc import Iterable

from sleepnoise.planning.bedroom_plan import PublishedLimits
from sleepnoise.wording.rounding import level_text

QUANTITIES = {"laeq": "LAeq", "lafmax": "LAFmax"}
"""Quantities of published values for people."""


def limit_sentences(limits: PublishedLimits) -> tuple[str, ...]:
    """Return which published values a target holds, and why others of the same documents are none."""
    lines = [
        f"{QUANTITIES[each.quantity]} {each.level_db:g} dB is that of {each.guideline}, {each.criterion} "
        f"[{each.document}]"
        + (f"; {each.allowed} events a night may lie above it" if each.allowed else "")
        + ". The plan keeps it with all sound together, masker included; a verdict on a night needs to lie "
        "below it by the uncertainty as well."
        for each in limits.used
    ]
    if limits.passed_over:
        lines.append(f"No limits for this plan: {' '.join(limits.passed_over)}")
    return tuple(lines)


def comes_in_sentence(shares: Iterable[tuple[str, float]], guessed: int) -> str:
    """Return by which parts the events' sound comes in; empty where nothing does.

    Parameters
    ----------
    shares : iterable of (str, float)
        Titles of parts and their shares, 0 to 1.
    guessed : int
        Events whose side nobody named.
    """
    parts = "; ".join(f"{title} {100.0 * share:.0f} %" for title, share in shares)
    guess = f" (for {guessed} of them the side is guessed)" if guessed else ""
    return f"The events' sound comes in by: {parts}{guess}." if parts else ""


def afterwards_sentences(
    laeq_dba: float, background_dba: float, now: tuple[float, float] | None
) -> tuple[str, ...]:
    """Return how loud the nights are behind a plan, and whether they were quieter without it.

    Parameters
    ----------
    laeq_dba, background_dba : float, dB(A)
        Behind the plan, masker included.
    now : tuple of (float, float), optional, dB(A)
        The same two as the room is; none for documents that do not have them.
    """
    laeq, background = ("", "") if now is None else (f" (now {level_text(each)})" for each in now)
    said = (
        f"Afterwards LAeq is {level_text(laeq_dba)}{laeq} and the background {level_text(background_dba)} "
        f"dB(A){background}, masker included."
    )
    louder = now is not None and level_text(laeq_dba) != level_text(now[0]) and laeq_dba > now[0]
    return (said, "The masker makes the night louder than it is.") if louder else (said,)


def step_note(masker_step_db: float | None) -> str:
    """Return why a masker's level in a table of trade-offs may lie above that of the plan itself."""
    steps = "steps" if masker_step_db is None else f"steps of {masker_step_db:g} dB"
    return (
        f"Masker levels in tables go up in {steps}: a masker shaped to the events is no louder than it needs "
        "to be, so the plan itself may name a lower level than its row."
    )
