"""The option ``--page`` of commands: one page of what was found, and nothing overwritten unasked."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from sleepnoise.cli.program import app

TYPED = ("door-test", "open=70", "closed=60", "curtain=53", "sealed=49")


def run(*words):
    return CliRunner().invoke(app, list(map(str, words)), env={"COLUMNS": "80"})


def commands(case_folder, room_file):
    """Return commands that write a page, by name, with words that stand on it."""
    [night] = sorted(case_folder.glob("nights/2026-01-14/assessed/*"))
    return {
        "door-test": (TYPED, "11.0 ± 2.0 dB quieter"),
        "paths": (("paths", room_file), "How the sound gets in"),
        "plan": (("plan", night, "--room", room_file, "--masker-step", "5"), "What can be had for what"),
        "compare": (("dossier", "compare", case_folder), "Levels from evening to evening"),
        "report": (
            ("dossier", "report", case_folder, "--reader", "landlord"),
            "Proofs: promised and measured",
        ),
    }


@pytest.mark.parametrize("name", ["door-test", "paths", "plan", "compare", "report"])
def test_a_page_is_written_once_and_replaced_only_when_asked(case_folder, room_file, tmp_path, name):
    words, said = commands(case_folder, room_file)[name]
    page = tmp_path / "found.html"
    result = run(*words, "--page", page)
    assert result.exit_code == 0, result.output
    assert said in page.read_text("utf-8")
    assert [each.name for each in tmp_path.iterdir()] == ["found.html"]
    if name == "report":
        assert 'id="for-landlord" checked' in page.read_text("utf-8")
    page.write_text("mine", encoding="utf-8")
    refused = run(*words, "--page", page)
    assert refused.exit_code == 2
    assert "nothing is overwritten" in " ".join(refused.output.split())
    assert page.read_text("utf-8") == "mine"
    if name in ("door-test", "report"):
        assert run(*words, "--page", page, "--force").exit_code == 0
        assert said in page.read_text("utf-8")


def test_a_place_that_takes_no_file_is_told_before_anything_is_worked_out(tmp_path: Path) -> None:
    result = run(*TYPED, "--page", tmp_path / "nowhere" / "found.html")
    assert result.exit_code == 2
    assert "is no folder" in " ".join(result.output.split())
    assert "quieter" not in result.output
