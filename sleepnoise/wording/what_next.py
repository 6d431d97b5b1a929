"""What to do next after a command has done its work, by command."""

import shlex
from collections.abc import Mapping

STEPS: dict[str, tuple[str, ...]] = {
    "guide": (),
    "explain": (),
    "check-recorder": (
        "change what is named above and test again; if it can do the job, record a night with the same "
        "settings; sleepnoise guide record",
    ),
    "assess --out": (
        "open {out}/report.html; sleepnoise guide read-report says what its words mean",
        "find out how the sound gets in before you spend money; sleepnoise guide door-test",
    ),
    "assess-log": ("sleepnoise explain cannot tell, or any other word above",),
    "survey": ("keep the case of a bedroom that ranks high: sleepnoise dossier start CASE",),
    "test-sound": ("play it behind the door, record each step; sleepnoise guide door-test",),
    "door-test": (
        "the same with --for-room PART prints what a room file needs of it",
        "what else would help in this room: sleepnoise paths ROOM.toml; sleepnoise guide plan",
    ),
    "two-microphones": ("what would help in this room: sleepnoise paths ROOM.toml",),
    "reverberation": ("these times go into the file of: sleepnoise insulation WALL.toml",),
    "insulation": ("sleepnoise explain DnT,w, or any other word above",),
    "paths": ("sleepnoise plan NIGHT_FOLDER --room {room} --out plan.json",),
    "plan": ("keep a plan that suits you with --out plan.json; sleepnoise guide plan",),
    "plan --out": (
        "sleepnoise hear-plan {out} NIGHT.wav --out EXISTING_FOLDER, with the calibration, --zone and other "
        "options that the night was assessed with",
        "when the work is done: sleepnoise guide prove",
    ),
    "hear-plan": ("after the work: sleepnoise check-plan {plan} --night AFTER_FOLDER",),
    "check-plan": ("keep the proof with the case: sleepnoise dossier add-file CASE proof FILE",),
    "design-masker": ("keep a design that suits you with --out masker.json; sleepnoise explain alarms",),
    "design-masker --out": (
        "test every alarm at the pillow with it on (sleepnoise explain alarms), then check it: "
        "sleepnoise check-masker {out} ON.wav --off OFF.wav",
    ),
    "check-masker": ("test every alarm at the pillow with it on: sleepnoise explain alarms",),
    "speech-privacy": ("what would help in this room: sleepnoise paths ROOM.toml",),
    "dossier add-door-test": ("sleepnoise dossier status {folder}",),
    "dossier add-words": ("sleepnoise dossier assess {folder}",),
    "dossier add-file": ("sleepnoise dossier status {folder}",),
    "dossier accept": ("sleepnoise dossier verify {folder}",),
    "dossier upgrade": ("sleepnoise dossier verify {folder}",),
    "dossier assess": ("sleepnoise dossier compare {folder}; sleepnoise dossier plan {folder}",),
    "dossier plan": ("sleepnoise dossier report {folder}",),
    "dossier compare": ("sleepnoise dossier report {folder}",),
    "dossier report": ("before it is handed on: sleepnoise dossier verify {folder}; sleepnoise guide share",),
    "dossier verify": ("sleepnoise dossier export {folder} CASE.zip",),
    "dossier export": ("before it is handed on: sleepnoise guide share",),
    "dossier import": ("sleepnoise dossier verify {folder}",),
    "profiles list": ("sleepnoise profiles show NAME",),
    "profiles show": ("to make one of your own, copy it to a file and: sleepnoise profiles check FILE",),
    "profiles check": ("every command takes it by its path",),
}
"""By command, and with a result kept by ``--out`` where that matters; ``{name}`` stands for what an option
or argument of that name was given. Commands that print the next step as part of their result are not here."""


class _Given(dict[str, str]):
    """What was given; what was not is named in capital letters."""

    def __missing__(self, name: str) -> str:
        return name.upper()


def steps_after(command: str, given: Mapping[str, object]) -> tuple[str, ...]:
    """Return what comes next after a command.

    Parameters
    ----------
    command : str
        Such as ``"dossier assess"``.
    given : mapping of str to object
        Its options and arguments; None is not given.

    Examples
    --------
    >>> steps_after("dossier report", {"folder": "flat 3"})[0].partition("; ")[0]
    "before it is handed on: sleepnoise dossier verify 'flat 3'"
    """
    said = _Given({name: _quoted(value) for name, value in given.items() if value is not None})
    steps = STEPS.get(f"{command} --out") if "out" in said else None
    return tuple(step.format_map(said) for step in steps or STEPS.get(command, ()))


def _quoted(value: object) -> str:
    text = str(value)
    return shlex.quote(text if text.isprintable() else ascii(text))
