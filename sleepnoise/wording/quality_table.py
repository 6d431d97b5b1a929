"""What went wrong while a night was recorded, and what its uncertainty is made of, as tables."""

from collections.abc import Iterable
from datetime import tzinfo

from sleepnoise.judgement.uncertainty import UncertaintyBudget
from sleepnoise.recording.quality import QualityFlag
from sleepnoise.wording.rounding import clock_text, duration_text, level_text
from sleepnoise.wording.tables import Table, plain_column

EFFECTS = {
    "left out": "left out of every statistic",
    "lower bound": "levels are at least what is printed",
    "upper bound": "levels are at most what is printed",
    "noted": "noted",
}
"""What a fault does to levels, in words."""


def fault_table(flags: Iterable[QualityFlag], zone: tzinfo) -> Table:
    """Return faults, one a row, in order of time."""
    heads = (plain_column("From"), plain_column("Lasts", number=True), plain_column("Kind"),
             plain_column("What"), plain_column("Levels"))  # fmt: skip
    rows = (
        (clock_text(flag.start, zone, seconds=True), duration_text(flag.seconds), flag.kind, flag.what,
         EFFECTS[flag.effect])
        for flag in flags
    )  # fmt: skip
    return Table(title="Faults, local time", columns=heads, rows=tuple(rows))


def budget_table(budget: UncertaintyBudget) -> Table:
    """Return a budget: every contribution, then what they come to."""
    rows = [
        (part.name, level_text(part.product_db, 2), f"{part.basis} ({part.source.how_known})")
        for part in budget.contributions
    ]
    rows.append(("combined, u", level_text(budget.combined_db, 2), "root of the sum of squares"))
    rows.append(("expanded, U", level_text(budget.expanded_db), "k = 2, covers about 95 %"))
    heads = (plain_column("Contribution"), plain_column("u, dB", number=True), plain_column("Basis"))
    title = "A- and C-weighted levels" if budget.quantity == "weighted" else "low third octaves"
    return Table(title=f"Uncertainty of {title}", columns=heads, rows=tuple(rows))
