"""Every command line of the guides, and every example below a command's help, is run or at least parsed."""

import re
import shlex
import shutil
import string
from pathlib import Path

import click
import pytest
import soundfile
from click.testing import CliRunner

import sleepnoise
from sleepnoise.acoustics.bands import band_label
from sleepnoise.cli import asking
from sleepnoise.cli.program import COMMANDS, SECTIONS, app
from sleepnoise.fieldwork.ratings import THIRD_OCTAVES_HZ
from sleepnoise.profiles.files import shipped_folder
from sleepnoise.wording.examples import EXAMPLES
from sleepnoise.wording.guides import guides
from sleepnoise.wording.what_next import STEPS

TOP = click.Context(app, info_name="sleepnoise", **app.context_settings)
README = Path(sleepnoise.__file__).parents[1] / "README.md"
RATE_HZ = 16_000
WIDEST = 76

FROM_S = 320
"""The first event of the invented night comes 365 s after its start."""

PARSED_ONLY = (
    "start",
    "two-microphones",
    "reverberation",
    "assess-many",
    "survey",
    "check-masker",
    "hear-plan",
    "test-sound",
    "eval",
    "dossier start flat-3$",
    ".*--out (tuesday-de|wednesday|again|for-the-landlord)$",
)
"""Asks, wants sounds that the demo does not have, or starts processes; their own tests run them."""


def command_lines(text):
    """Command lines of a text, those that go on in the next line joined."""
    joined = text.replace("\\\n", " ")
    return [line.strip() for line in joined.splitlines() if line.strip().startswith(("sleepnoise ", "eval "))]


def code_of(markdown):
    return "\n".join(re.findall(r"```sh\n(.*?)```", markdown, re.DOTALL))


EXAMPLE_LINES = [line for lines in EXAMPLES.values() for line in command_lines("\n".join(lines))]
GUIDE_LINES = [line for guide in guides() for line in command_lines(code_of(guide.text))]


def words_of(line):
    line = line.partition("  #")[0].partition(" | ")[0].partition(" > ")[0]
    return shlex.split(line)[1:]


def run(line):
    done = CliRunner().invoke(app, words_of(line), env={"COLUMNS": "80"})
    assert done.exit_code == 0, f"{line}\n{done.output}"
    if " > " in line:
        Path(line.split(" > ")[1].strip()).write_text(done.stdout, encoding="utf-8")
    return done


def parsed(words):
    """Raise what the parser finds wrong with the words of a command line; nothing is run."""
    command, path = app, "sleepnoise"
    while isinstance(command, click.Group):
        name, *words = words
        command, path = command.get_command(TOP, name), name
        assert command is not None, name
    command.make_context(path, list(words), parent=TOP)


def take(folder, into):
    """Put what the guides speak of into a folder: a short invented night, and what lies beside it."""
    sounds = {
        "20260210_230500": "larch*", "20260310_230500": "larch*", "tone": "cal*", "open": "door_test/1*",
        "closed": "door_test/2*", "sealed": "door_test/4*", "off": "door_test/5*",
        "on-1": "door_test/2*", "on-2": "door_test/3*",
    }  # fmt: skip
    for name, pattern in sounds.items():
        samples, rate_hz = soundfile.read(next(folder.glob(pattern)))
        if pattern == "larch*":
            # Not one recording under two names: the later night begins 2 s later.
            first = FROM_S + 2 * (name == "20260310_230500")
            samples = samples[first * rate_hz : (first + 90) * rate_hz]
        soundfile.write(into / f"{name}.wav", samples, rate_hz, subtype="PCM_24")
        if pattern == "larch*":
            soundfile.write(into / "minute.wav", samples[: 60 * rate_hz], rate_hz, subtype="PCM_24")
            # Names of phones' files tell nothing; what is in them tells what they are.
            soundfile.write(into / "night.m4a", samples, rate_hz, format="FLAC")
    for name in ("bedroom.toml", "door_test.toml", "calibration_tone.flac"):
        shutil.copy(folder / name, into / name)
    shutil.copytree(folder / "door_test", into / "door_test")
    shutil.copy(folder / "bedroom.toml", into / "room.toml")
    shutil.copy(shipped_folder() / "guidelines" / "who-1999-bedroom.toml", into / "my-guideline.toml")
    (into / "diary.csv").write_text("time,words\n2026-02-10T23:06:00+01:00,a bang\n", encoding="utf-8")
    rows = (f"2026-02-10 23:{minute:02}:{second:02},31.5" for minute in range(30) for second in range(60))
    (into / "log.csv").write_text("Start,LAeq [dB]\n" + "\n".join(rows), encoding="utf-8")
    (into / "wall.toml").write_text(wall(), encoding="utf-8")
    (into / "heard").mkdir()


def wall():
    def levels(level_db):
        return "{" + ", ".join(f'"{band_label(hz)}" = {level_db:.1f}' for hz in THIRD_OCTAVES_HZ) + "}"

    return (
        'kind = "insulation"\ntitle = "Wall"\narea_m2 = 9.0\n[room]\nvolume_m3 = 30.0\n'
        f'furnishing = "furnished"\n[source]\nlevels_db = [{levels(85)}]\n[receiving]\n'
        f"levels_db = [{levels(45)}]\n[background]\nlevels_db = [{levels(20)}]\n"
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "d"
    run(f"sleepnoise demo {folder} --hours 0.14 --rate {RATE_HZ}")
    return folder


@pytest.fixture
def world(demo, tmp_path, monkeypatch):
    take(demo, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def only_parsed(line):
    words = " ".join(words_of(line)) if line.startswith("sleepnoise") else "eval"
    return any(re.match(pattern, words) for pattern in (*PARSED_ONLY, "demo"))


@pytest.mark.parametrize("line", [*EXAMPLE_LINES, *GUIDE_LINES])
def test_a_command_line_is_understood(line):
    if line.startswith("sleepnoise"):
        parsed(words_of(line))
    else:
        shell = re.fullmatch(r'eval "\$\(sleepnoise completion (\w+)\)"\s+#.*', line)[1]
        assert "_SLEEPNOISE_COMPLETE" in run(f"sleepnoise completion {shell}").stdout


@pytest.mark.usefixtures("world")
def test_the_guides_can_be_followed_from_the_first_to_the_last_and_then_the_examples():
    for line in GUIDE_LINES:
        if not only_parsed(line):
            run(line)
    done = {kind_of(line) for line in GUIDE_LINES}
    for line in EXAMPLE_LINES:
        if not only_parsed(line) and kind_of(line) not in done:
            run(line)


def kind_of(line):
    """The command by itself: once every one has run, other examples of it are only parsed."""
    first, second = words_of(line)[:2] if len(words_of(line)) > 1 else (words_of(line)[0], "")
    return (first, second if first in ("dossier", "profiles") else "")


def test_every_command_has_examples_that_fit_80_columns():
    for path in paths_of(app):
        lines = EXAMPLES[path]
        assert max(map(len, lines)) <= WIDEST, path
        assert any(f"sleepnoise {path}" in line for line in lines), path


def paths_of(group, above=""):
    for name in group.list_commands(TOP):
        command = group.get_command(TOP, name)
        if isinstance(command, click.Group):
            yield from paths_of(command, f"{name} ")
        else:
            yield f"{above}{name}"


def test_examples_and_next_steps_are_of_commands_that_exist():
    known = set(paths_of(app))
    assert set(EXAMPLES) == known
    assert {path.removesuffix(" --out") for path in STEPS} <= known


@pytest.mark.parametrize("path", sorted(STEPS))
def test_a_next_step_names_what_the_command_knows_and_commands_that_exist(path):
    command = app
    for name in path.removesuffix(" --out").split():
        command = command.get_command(TOP, name)
    names = {parameter.name for parameter in command.params}
    for step in STEPS[path]:
        assert {field for _, field, _, _ in string.Formatter().parse(step) if field} <= names
        for mentioned in re.findall(r"sleepnoise ([a-z-]+)", step):
            assert mentioned in COMMANDS


def test_help_shows_examples_in_80_columns_and_every_heading():
    done = CliRunner().invoke(app, ["assess", "-h"], env={"COLUMNS": "80"})
    assert "Examples:\n    sleepnoise assess 20260210_230500.wav --tone tone.wav \\\n" in done.output
    done = CliRunner().invoke(app, ["-h"], env={"COLUMNS": "80"})
    assert all(f"{heading}:" in done.output for heading in SECTIONS)
    assert done.output.count("...") == len(("[ARGS]...", "prove ..."))
    for path in paths_of(app):
        shown = CliRunner().invoke(app, [*path.split(), "-h"], env={"COLUMNS": "80"}).output
        assert max(map(len, shown.splitlines())) <= 80, path
        assert "\\b" not in shown, path


@pytest.mark.usefixtures("world")
def test_what_comes_next_is_said_beside_the_result_and_not_with_data(monkeypatch):
    words = ["paths", "room.toml"]
    assert CliRunner().invoke(app, words).stderr == ""  # Nobody watches.
    monkeypatch.setattr(asking, "somebody_watches", lambda: True)
    done = CliRunner().invoke(app, words)
    assert done.stderr == "Next: sleepnoise plan NIGHT_FOLDER --room room.toml --out plan.json\n"
    assert "Next:" not in done.stdout
    assert CliRunner().invoke(app, [*words, "--json"]).stderr == ""


def test_guides_fit_a_terminal_and_end_with_their_cautions():
    for guide in guides():
        assert guide.text.split("\n## ")[-1].startswith("Beware\n"), guide.name
        assert max(map(len, code_of(guide.text).splitlines()), default=0) <= WIDEST, guide.name
        shown = CliRunner().invoke(app, ["guide", guide.name], env={"COLUMNS": "80"})
        assert max(map(len, shown.stdout.splitlines())) <= 80, guide.name


def test_commands_of_the_readme_exist_with_the_options_that_it_names():
    text = README.read_text(encoding="utf-8")
    spans = re.findall(r"`(?:sleepnoise )?((?:[a-z-]+ ){1,2}[^`]*)`", text) + command_lines(text)
    for span in spans:
        words = span.replace("\n", " ").removeprefix("sleepnoise ").split()
        if words[0] not in COMMANDS:
            continue
        command = app.get_command(TOP, words[0])
        if isinstance(command, click.Group) and len(words) > 1 and words[1] in command.commands:
            command = command.commands[words[1]]
        known = {option for parameter in command.params for option in parameter.opts} | {"-h", "--help"}
        assert {word for word in words if word.startswith("-") and word != "-"} <= known, span
