"""What a shell is told when the Tab key is pressed."""

import subprocess
import sys

import pytest
from click.shell_completion import BashComplete
from click.testing import CliRunner

from sleepnoise.cli.program import app
from sleepnoise.profiles.files import shipped_profiles


def completed(*words):
    *before, begun = words
    shell = BashComplete(app, {}, "sleepnoise", "_SLEEPNOISE_COMPLETE")
    return [item.value for item in shell.get_completions(list(before), begun)]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("ass",), ["assess", "assess-log", "assess-many"]),
        (("explain", "lafm"), ["lafmax", "lafmin"]),
        (("guide", "pr"), ["prove"]),
        (("assess", "night.wav", "--guideline", "who-1999"), ["who-1999-bedroom"]),
        (("assess", "night.wav", "--guideline", "inter"), ["international"]),
        (("plan", "tuesday", "--require", "second-"), ["second-board-layer", "second-door"]),
        (("paths", "room.toml", "--source", "road"), ["road-urban"]),
        (("profiles", "show", "door-seals"), ["door-seals-hollow-core", "door-seals-solid-core"]),
        (("dossier", "add-n"), ["add-night"]),
        (("start", "--have", "ph"), ["phone"]),
    ],
)
def test_commands_answers_and_names_are_completed(words, found):
    assert completed(*words) == found


def test_every_shipped_profile_is_completed_and_a_path_is_left_to_the_shell():
    assert set(completed("profiles", "show", "")) == {profile.name for profile in shipped_profiles()}
    assert "door-hollow-wood-44" in completed("speech-privacy", "tuesday", "--through", "door-")
    shell = BashComplete(app, {}, "sleepnoise", "_SLEEPNOISE_COMPLETE")
    (item,) = shell.get_completions(["profiles", "show"], "./mine")
    assert (item.type, item.value) == ("file", "./mine")


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_of_each_shell_names_the_program(shell):
    done = CliRunner().invoke(app, ["completion", shell], prog_name="sleepnoise")
    assert done.exit_code == 0
    assert f"_SLEEPNOISE_COMPLETE={shell}_complete" in done.stdout


def test_the_script_for_bash_is_one_that_bash_understands(tmp_path):
    script = tmp_path / "completion.sh"
    script.write_text(CliRunner().invoke(app, ["completion", "bash"], prog_name="sleepnoise").stdout)
    subprocess.run(["bash", "-n", script], check=True)


def test_completing_commands_and_terms_loads_nothing_heavy():
    code = (
        "import sys; from click.shell_completion import BashComplete\n"
        "from sleepnoise.cli.program import app\n"
        "found = BashComplete(app, {}, 'sleepnoise', 'X').get_completions(['explain'], 'la9')\n"
        "assert [item.value for item in found] == ['la90'], found\n"
        "assert not {'numpy', 'pydantic', 'rich'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
