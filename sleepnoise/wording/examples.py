"""Examples, by command: shown below its help, and each of them run by a test.

A line that ends in a backslash goes on in the next, as a shell reads it. At most 76 characters fit.
"""

EXAMPLES: dict[str, tuple[str, ...]] = {
    "start": ("sleepnoise start",),
    "guide": ("sleepnoise guide", "sleepnoise guide record"),
    "explain": ("sleepnoise explain", "sleepnoise explain LA90", "sleepnoise explain cannot tell"),
    "demo": ("sleepnoise demo larch-court --hours 1",),
    "check-recorder": (
        "sleepnoise check-recorder minute.wav",
        "sleepnoise check-recorder minute.wav --tone tone.wav",
    ),
    "calibrate": (
        "sleepnoise calibrate --tone tone.wav --out recorder.toml",
        "sleepnoise calibrate --beside-pair 40.2=-72.4 --beside-pair 48.1=-64.6 \\",
        "    --beside-pair 55.3=-57.2 --beside-pair 62.1=-50.5 \\",
        "    --beside-pair 70.0=-42.7 --out phone.toml",
    ),
    "assess": (
        "sleepnoise assess 20260210_230500.wav --tone tone.wav \\",
        "    --zone Europe/Vienna --out tuesday",
        "sleepnoise assess night.m4a --start 2026-02-10T23:05 \\",
        "    --zone Europe/Vienna --reader resident --out phone-night",
        "sleepnoise assess 20260210_230500.wav --calibration recorder.toml \\",
        "    --zone Europe/Vienna --source-kind road --windows closed --out again",
    ),
    "assess-log": (
        "sleepnoise assess-log log.csv --column time=Start \\",
        "    --column laeq='LAeq [dB]' --zone Europe/Vienna --meter-class 1",
    ),
    "test-sound": (
        "sleepnoise test-sound pink noise.wav",
        "sleepnoise test-sound sweep sweep.wav --sweeps 3",
    ),
    "door-test": (
        "sleepnoise door-test open.wav closed.wav sealed.wav --background off.wav",
        "sleepnoise door-test open=70 closed=60 curtain=53 'curtain, seals=49'",
    ),
    "two-microphones": (
        "sleepnoise two-microphones hall.wav pillow.wav",
        "sleepnoise two-microphones both.wav --same-gain",
    ),
    "reverberation": (
        "sleepnoise reverberation balloon-1.wav balloon-2.wav --volume 31",
        "sleepnoise reverberation door.wav shelf.wav --how sweep --sweep sweep.wav",
    ),
    "insulation": ("sleepnoise insulation wall.toml",),
    "paths": (
        "sleepnoise paths room.toml",
        "sleepnoise paths room.toml --source road-urban --side outdoors --level 60",
    ),
    "plan": (
        "sleepnoise plan tuesday --room room.toml --budget 500",
        "sleepnoise plan tuesday --room room.toml --no-masker \\",
        "    --require door-seals-hollow-core --out plan.json",
    ),
    "design-masker": (
        "sleepnoise design-masker tuesday --behind solid-core-leaf-and-seals \\",
        "    --alarm-level 85 --out masker.json --sound masker.flac --seconds 20",
        "sleepnoise design-masker tuesday --aim 'not noticeable' --cap 35",
    ),
    "speech-privacy": (
        "sleepnoise speech-privacy tuesday --through door-hollow-wood-44",
        "sleepnoise speech-privacy tuesday --through door-hollow-wood-44 --level 38",
    ),
    "hear-plan": (
        "sleepnoise hear-plan plan.json 20260210_230500.wav --tone tone.wav \\",
        "    --zone Europe/Vienna --out heard",
    ),
    "check-plan": (
        "sleepnoise check-plan plan.json --night after --same-recorder",
        "sleepnoise check-plan plan.json --door-test door.json --part hall-door",
    ),
    "check-masker": (
        "sleepnoise check-masker masker.json on-1.wav on-2.wav --off off.wav \\",
        "    --tone tone.wav --same-recorder",
    ),
    "assess-many": (
        "sleepnoise assess-many bedrooms --zone Europe/Vienna --out results",
        "sleepnoise assess-many nights.csv --workers 2 --out results",
    ),
    "survey": (
        "sleepnoise survey results",
        "sleepnoise survey results --csv ranking.csv --page ranking.html",
    ),
    "dossier start": (
        "sleepnoise dossier start flat-3",
        "sleepnoise dossier start flat-3 --title 'Flat 3, bedroom' \\",
        "    --zone Europe/Vienna --room room.toml",
    ),
    "dossier add-night": ("sleepnoise dossier add-night flat-3 20260210_230500.wav --tone tone.wav",),
    "dossier add-door-test": ("sleepnoise dossier add-door-test flat-3 door_test.toml",),
    "dossier add-words": ("sleepnoise dossier add-words flat-3 2026-02-10 --diary diary.csv",),
    "dossier add-file": ("sleepnoise dossier add-file flat-3 plan plan.json",),
    "dossier accept": ("sleepnoise dossier accept flat-3 'the window stood open'",),
    "dossier upgrade": ("sleepnoise dossier upgrade flat-3",),
    "dossier status": ("sleepnoise dossier status flat-3",),
    "dossier assess": ("sleepnoise dossier assess flat-3",),
    "dossier plan": ("sleepnoise dossier plan flat-3 --no-masker",),
    "dossier compare": ("sleepnoise dossier compare flat-3 --since 2026-02-11",),
    "dossier report": ("sleepnoise dossier report flat-3",),
    "dossier verify": ("sleepnoise dossier verify flat-3",),
    "dossier export": ("sleepnoise dossier export flat-3 flat-3.zip",),
    "dossier import": ("sleepnoise dossier import flat-3.zip flat-3-copy",),
    "profiles list": ("sleepnoise profiles list",),
    "profiles show": (
        "sleepnoise profiles show who-1999-bedroom",
        "sleepnoise profiles show door-seals-solid-core",
    ),
    "profiles check": ("sleepnoise profiles check my-guideline.toml",),
    "documents list": ("sleepnoise documents list",),
    "documents show": ("sleepnoise documents show assessment",),
    "completion": (
        'eval "$(sleepnoise completion bash)"        # in ~/.bashrc',
        'eval "$(sleepnoise completion zsh)"         # in ~/.zshrc',
        "sleepnoise completion fish | source         # in config.fish",
    ),
}
"""By how the command is called."""
