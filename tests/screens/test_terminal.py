from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.table import Table
from rich.text import Text

from sleepnoise.assessing.record import NightRecord
from sleepnoise.errors import OutputError
from sleepnoise.profiles.files import read_profile, shipped_profiles
from sleepnoise.screens import night_summary, terminal


@pytest.fixture(autouse=True)
def width(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def test_the_summary_fits_80_columns(record: NightRecord, capsys: pytest.CaptureFixture[str]) -> None:
    night_summary.show_night(record)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(cell_len, lines)) <= 80
    assert len(lines) < 100


@pytest.mark.parametrize("night", ["uncalibrated", "silent"])
def test_every_night_has_a_summary(
    night: str, request: pytest.FixtureRequest, capsys: pytest.CaptureFixture[str]
) -> None:
    night_summary.show_night(request.getfixturevalue(night))
    assert "No published value can be judged" in capsys.readouterr().out


def test_text_from_outside_is_neither_markup_nor_a_control_sign(
    record: NightRecord, capsys: pytest.CaptureFixture[str]
) -> None:
    hostile = "[red]x[/red] :tram: \x1b[2J\nnight.wav"
    mark = replace(record.provenance.inputs[0], name=hostile)
    verdict = record.assessment.verdicts[0]
    criterion = replace(verdict.criterion, title=hostile, guideline=hostile)
    night = replace(record.assessment, verdicts=(replace(verdict, criterion=criterion),))
    provenance = replace(record.provenance, inputs=(mark,))
    night_summary.show_night(replace(record, provenance=provenance, assessment=night))
    out = capsys.readouterr().out
    assert "[red]x[/red] :tram: \\x1b[2J\\nnight.wav" in out
    assert "\x1b" not in out


def test_a_complaint_with_brackets_loses_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    terminal.show_error(OutputError("bad [sources.a] key\x07", remedy="Mend [red]."))
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err == "Cannot go on: bad [sources.a] key\\x07\nWhat to do: Mend [red].\n"


def test_nothing_is_shown_while_nobody_is_watching(capsys: pytest.CaptureFixture[str]) -> None:
    with terminal.progress("night.wav", "Listening to") as on_progress:
        on_progress(0.5)
    captured = capsys.readouterr()
    assert (captured.out, captured.err) == ("", "")


def test_colours_stay_away_when_asked(
    record: NightRecord, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm-256color")
    night_summary.show_night(record)
    assert "\x1b[33m" in capsys.readouterr().out
    monkeypatch.setenv("NO_COLOR", "1")
    night_summary.show_night(record)
    assert "\x1b[33m" not in capsys.readouterr().out


def test_every_shipped_profile_can_be_shown(capsys: pytest.CaptureFixture[str]) -> None:
    for shipped in shipped_profiles():
        terminal.show_profile(read_profile(shipped.path))
    out = capsys.readouterr().out
    assert "how_known: looked-up" in out
    assert "period: 22:00 to 06:00" in out


HOSTILE = "a\x1b[2J\x1b]0;title\x07\u202eb\x9b31m\x08\r\0\udc9bc"
SHOWN = r"a\x1b[2J\x1b]0;title\x07\u202eb\x9b31m\x08\r\x00\udc9bc"


def test_nothing_acts_on_a_terminal_even_if_nobody_made_it_plain(capsys: pytest.CaptureFixture[str]) -> None:
    screen = terminal.Screen()
    table = Table(title=HOSTILE)
    table.add_column(HOSTILE)
    table.add_row(HOSTILE)
    for thing in (HOSTILE, Text(HOSTILE, style="bold"), table):
        screen.print(thing, soft_wrap=True)
    terminal.heading(screen, HOSTILE)
    out = capsys.readouterr().out
    assert out.replace("\n", "").isprintable()
    assert r"\x1b[2J" in out
    assert r"\u202eb" in out


def test_plain_text_shows_every_sign_that_would_act() -> None:
    assert terminal.plain(HOSTILE) == SHOWN
    assert terminal.plain("Tür, 🚋 – 90 %") == "Tür, 🚋 – 90 %"


def test_a_line_end_stays_one_and_a_bar_still_moves_the_cursor(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    with terminal.progress("night.wav\x1b[2J", "Listening to") as on_progress:
        on_progress(0.5)
    terminal.Screen().print(Text("one\ntwo"))
    captured = capsys.readouterr()
    assert "one\ntwo" in captured.out
    assert "\x1b[2K" in captured.err
    assert "\x1b[2J" not in captured.err


def test_the_first_plan_counts_what_stays_audible_with_the_masker_beside_it(
    record: NightRecord, capsys: pytest.CaptureFixture[str]
) -> None:
    night_summary.show_night(record)
    out = capsys.readouterr().out
    assert "Still audible with it" in out
