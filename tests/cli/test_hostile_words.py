"""What was typed, or a shell filled in with a file's name, comes back without acting on the terminal."""

import subprocess
import sys

import pytest


@pytest.mark.parametrize(
    "words", [["evil\x1b[2J"], ["profiles", "show", "--evil\x1b[2J"], ["demo", "--hours", "\x1b[2J"]]
)
def test_a_complaint_about_what_was_typed_acts_on_no_terminal(words):
    done = subprocess.run([sys.executable, "-m", "sleepnoise", *words], capture_output=True, check=False)
    assert done.returncode == 2
    assert b"\\x1b[2J" in done.stderr
    assert b"\x1b" not in done.stderr
