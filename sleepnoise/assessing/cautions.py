"""Cautions that travel with a result into every file and page."""

from sleepnoise.assessing.record import NightRecord

PRACTICE = (
    "One night is one night. Rules that speak of recurring or yearly noise need more nights, with windows "
    "and doors noted for each.",
    "Levels at one microphone position differ from those at the pillow, most at low frequencies. Local codes "
    "and licensed practice come first; this is no legal or medical opinion.",
    "A recording in a bedroom holds voices. Whether it may be made, kept and handed on is a matter of local "
    "law and of everybody who can be heard on it.",
)
"""Said of every night. Common practice, no source."""

UNCALIBRATED = (
    "The recording has no calibration: levels are relative to full scale, no guideline gets a verdict, and "
    "the plan, which needs levels at the ear, may be wrong by as much as the unknown gain."
)
"""Said of recordings without calibration."""

MEMORY = (
    "Values marked unverified were not seen in their document. Check them before anyone relies on them; "
    "until then they give no verdict."
)
"""Said when an unverified criterion or loss was used."""

SHORTEST_SHARE = 0.95
"""Share of the window that counts as the whole night. Chosen: 5 % missing at average level is 0.2 dB."""


def cautions_of(record: NightRecord) -> tuple[str, ...]:
    """Return what a reader must be told about a night, weightiest first."""
    night = record.assessment
    said: list[str] = []
    if not night.absolute:
        said.append(UNCALIBRATED)
    if night.statistics.seconds < SHORTEST_SHARE * night.window_s:
        said.append("The recording misses part of the night window; its levels stand for the part recorded.")
    sources = [verdict.criterion.source for verdict in night.verdicts]
    sources += [choice.step.source for choice in record.plan.choices]
    if any(source.how_known == "memory" for source in sources):
        said.append(MEMORY)
    return (*said, *record.plan.cautions, *PRACTICE)
