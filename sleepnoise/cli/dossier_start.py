"""The command ``dossier start``: a short questionnaire, or everything by options."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from sleepnoise.cli import asking
from sleepnoise.cli.assess import SOURCE_KINDS
from sleepnoise.cli.options import FILE, Grouped, option

PLACE, FILES = "Place and judgement (what is not given is asked)", "Files to copy into it"

QUESTIONS = {
    "title": ("Which bedroom is it", None),
    "place": ("Where is it, in your own words (may stay empty)", ""),
    "zone": ("Time zone of the place, such as Europe/Vienna", None),
    "window": ("Local clock hours that count as night", "23:00-07:00"),
    "guideline": ("Guidelines to judge by, separated by commas (empty: the international ones)", ""),
    "recorder": ("Which recorder, in your own words (may stay empty)", ""),
    "room": ("Room file (may stay empty)", ""),
    "calibration": ("Calibration kept by 'calibrate' (may stay empty)", ""),
}
"""What is asked, by the option that answers it, and the answer that Enter gives."""


@click.command("start", cls=Grouped)
@click.argument("folder", type=FILE)
@option(PLACE, "--title", str, "TEXT", "Which bedroom it is. With title and zone given, nothing is asked.")
@option(PLACE, "--place", str, "TEXT", "Where it is, in your own words.")
@option(PLACE, "--zone", str, "NAME", "Time zone of the place, such as Europe/Vienna.")
@option(PLACE, "--window", str, "FROM-TO", "Local clock hours that count as night. [default: 23:00-07:00]")
@option(
    PLACE,
    "--guideline",
    str,
    "NAME",
    "Judge by this document, as for 'assess'. [repeatable] [default: international]",
    multiple=True,
)
@option(PLACE, "--recorder", str, "TEXT", "Which recorder, in your own words.")
@option(PLACE, "--source-kind", click.Choice(SOURCE_KINDS), None, "What makes the sound that is judged.")
@option(FILES, "--room", FILE, "FILE.toml", "The bedroom's file; the one that 'demo' writes shows how.")
@option(FILES, "--calibration", FILE, "FILE.toml", "A calibration kept by 'calibrate'.")
def start(folder: Path, **given: Any) -> None:
    """Start a dossier in FOLDER, which is made.

    What an existing dossier says is changed in its files, followed by 'dossier accept'.
    """
    from sleepnoise.casework.dossier import start_dossier
    from sleepnoise.screens.terminal import show_text

    answers = given if given["title"] and given["zone"] else _asked(given)
    about, others = _file(answers)
    start_dossier(folder, about, datetime.now(UTC), others)
    show_text(f"Started {folder}. Next: sleepnoise dossier add-night {folder} RECORDING")


def _asked(given: dict[str, Any]) -> dict[str, Any]:
    if not asking.somebody_answers():
        raise click.UsageError("Give --title and --zone, or answer the questions at a terminal.")
    answers = dict(given)
    for name, (question, default) in QUESTIONS.items():
        if not given[name]:
            here = asking.zone_of_this_computer() if name == "zone" else ""
            answers[name] = asking.ask(question, here or default)
    if isinstance(answers["guideline"], str):
        answers["guideline"] = [word.strip() for word in answers["guideline"].split(",") if word.strip()]
    return answers


def _file(answers: dict[str, Any]) -> Any:
    """Return the dossier's own file, and the others to put beside it, all of them checked."""
    from sleepnoise.assessing.chosen_guidelines import criteria_of_guidelines, guideline_names
    from sleepnoise.calibration.kept import read_calibration
    from sleepnoise.casework.dossier import CALIBRATION_FILE, GUIDELINES, ROOM_FILE
    from sleepnoise.casework.written_files import DossierFile, checked
    from sleepnoise.profiles.files import read_bedroom

    words = tuple(answers["guideline"])
    criteria_of_guidelines(guideline_names(words))
    others: dict[str, bytes] = {}
    for name, read, place in (
        ("room", read_bedroom, ROOM_FILE),
        ("calibration", read_calibration, CALIBRATION_FILE),
    ):
        if answers[name]:
            path = Path(answers[name])
            read(path)
            others[place] = path.read_bytes()
    own = [word for word in words if word.lower().endswith(".toml")]
    others |= {f"{GUIDELINES}/{Path(word).name}": Path(word).read_bytes() for word in own}
    texts = {name: answers[name] for name in ("title", "place", "zone", "window", "recorder", "source_kind")}
    about = {{"window": "night_hours"}.get(name, name): text for name, text in texts.items() if text}
    about["guidelines"] = [f"{GUIDELINES}/{Path(word).name}" if word in own else word for word in words]
    return checked(DossierFile, about), others
