"""Published values that a plan is to keep, in words, the same for a plan just made and one that was kept."""

from sleepnoise.planning.bedroom_plan import PublishedLimits

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
