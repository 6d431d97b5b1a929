"""What a test recording says of its recorder, in plain words and one screen of 80 columns."""

from typing import get_args

from rich.table import Table as ScreenTable
from rich.text import Text

from sleepnoise.recording.calibration import Calibration
from sleepnoise.screens.terminal import Screen, heading, plain, show_paragraphs
from sleepnoise.trials.recorder_check import Ability, Point, RecorderCheck
from sleepnoise.wording.rounding import level_text

MARKS: dict[Ability, str] = {"can": "●", "can with limits": "○", "cannot tell": "?", "cannot": "▲"}
"""A shape for each answer, so that nobody needs to tell colours apart."""

COLOURS: dict[Ability, str] = {
    "can": "green",
    "can with limits": "yellow",
    "cannot tell": "yellow",
    "cannot": "bold red",
}

CAUTION = (
    "The answer holds for these settings at this place; after any change, test again. The assessment of a "
    "night lists the faults of its own recording."
)
"""Said of every test. Common practice, no source."""


def show_check(check: RecorderCheck, calibration: Calibration) -> None:
    """Print the check of a recorder, made with a calibration, on standard output."""
    screen = Screen()
    screen.print(Text(answer(check), style="bold"))
    screen.print(Text(plain(check.name), style="dim"))
    for sentence in _calibration_sentences(calibration):
        screen.print(Text(plain(sentence)))
    screen.print()
    screen.print(_point_table(check))
    changes = [point for point in weakest_first(check) if point.change and point.ability != "can"]
    if changes:
        heading(screen, "What to change, weightiest first")
        show_paragraphs(screen, (_change(point) for point in changes))
    screen.print()
    screen.print(Text(CAUTION, style="dim"))


def answer(check: RecorderCheck) -> str:
    """Return the answer in one sentence."""
    abilities = [point.ability for point in check.points]
    limits = ", with limits" if "can with limits" in abilities else ""
    if check.ability == "cannot":
        return "Set up like this, the recorder cannot do the job."
    if check.ability == "cannot tell":
        open_ = abilities.count("cannot tell")
        are = "is" if open_ == 1 else "are"
        return (
            f"As far as this test tells, the recorder can do the job{limits}; {open_} of {len(abilities)} "
            f"points {are} still open."
        )
    return f"This recorder can do the job{limits}."


def _calibration_sentences(calibration: Calibration) -> tuple[str, ...]:
    if not calibration.absolute:
        return ()
    uncertainty = level_text(calibration.expanded_uncertainty_db)
    return (f"Calibration: {calibration.origin}; ±{uncertainty} dB (k = 2).", *calibration.remarks)


def weakest_first(check: RecorderCheck) -> list[Point]:
    """Return all points, the weakest first."""
    order = get_args(Ability)
    return sorted(check.points, key=lambda point: -order.index(point.ability))


def _point_table(check: RecorderCheck) -> ScreenTable:
    table = ScreenTable.grid(padding=(0, 2, 0, 0))
    for _ in range(2):
        table.add_column(no_wrap=True)
    table.add_column()
    for point in weakest_first(check):
        word = Text(f"{MARKS[point.ability]} {point.ability}", style=COLOURS[point.ability])
        table.add_row(word, point.topic, Text(plain(point.reason)))
    return table


def _change(point: Point) -> Text:
    return Text.assemble((f"{point.topic}: ", "bold"), plain(point.change))
