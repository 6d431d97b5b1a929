"""Starting is instant because the heavy libraries wait until someone needs them."""

import json
import subprocess
import sys

import pytest

HEAVY = ("numpy", "scipy", "pyarrow", "soundfile", "pydantic", "jinja2", "matplotlib")


def loaded_after(code):
    """Heavy libraries that a fresh interpreter holds after running some code."""
    program = (
        f"{code}\n"
        "import json, sys\n"
        f"print(json.dumps([name for name in {HEAVY!r} if name in sys.modules]), file=sys.stderr)"
    )
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stderr
    return json.loads(ended.stderr.splitlines()[-1]), ended.stdout


def help_of(*command):
    return (
        "import sys\n"
        f"sys.argv = ['sleepnoise', *{command!r}, '--help']\n"
        "from sleepnoise.cli.program import main\n"
        "try:\n    main()\n"
        "except SystemExit as ended:\n    assert not ended.code, ended.code\n"
    )


def test_importing_the_package_loads_nothing_heavy():
    assert loaded_after("import sleepnoise; sleepnoise.__version__") == ([], "")


def test_importing_the_command_line_loads_nothing_heavy():
    assert loaded_after("import sleepnoise.cli.program") == ([], "")


def test_help_loads_nothing_heavy():
    loaded, shown = loaded_after(help_of())
    assert loaded == []
    assert "Usage" in shown


def test_help_of_every_command_loads_nothing_heavy():
    program = (
        "import click\n"
        "from sleepnoise.cli.program import COMMANDS, app\n"
        "for name in COMMANDS:\n"
        "    command = app.get_command(None, name)\n"
        "    print(command.get_help(click.Context(command)))"
    )
    loaded, shown = loaded_after(program)
    assert loaded == []
    assert shown.count("Usage") > 5


@pytest.mark.parametrize("code", ["import numpy", "import sleepnoise; sleepnoise.LevelEngine"])
def test_what_is_loaded_is_seen(code):
    assert "numpy" in loaded_after(code)[0]
