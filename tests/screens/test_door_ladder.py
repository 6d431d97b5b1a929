"""A door test as people read it."""

from pathlib import Path

import numpy as np
import pytest

from sleepnoise.profiles.files import door_test_from
from sleepnoise.screens.door_ladder import show_door_test
from sleepnoise.trials.door_test import CAUTIONS, ORDER, study_door_test
from sleepnoise.wording.door_words import loudness_text

USUAL = (70.0, 60.0, 53.0, 49.0)


def result_of(*levels, title="Invented", **more):
    steps = [{"title": f"change {place}", "laeq": [laeq]} for place, laeq in enumerate(levels, start=1)]
    table = {"kind": "door-test", "title": title, "step": steps, **more}
    return study_door_test(door_test_from(table), Path())


@pytest.fixture
def shown(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")

    def show(result, *, bands=False):
        show_door_test(result, bands=bands)
        return capsys.readouterr().out

    return show


def words(text):
    return " ".join(text.split())


def row(text, start):
    return next(words(line) for line in text.splitlines() if line.startswith(start))


def test_the_answer_the_ladder_and_the_shares_of_a_usual_door(shown):
    text = shown(result_of(*USUAL))
    told = words(text)
    # Common practice, no source: see published/door_ladder.toml.
    assert (
        "From 'change 1' to 'change 4': 21.0 ± 2.0 dB quieter (A-weighted), about a quarter as loud." in told
    )
    assert "From 'change 2' to 'change 4': 11.0 ± 2.0 dB quieter (A-weighted), about half as loud." in told
    assert row(text, "3  change 3") == "3 change 3 53.0 7.0 2.0 17.0 7.0 62 %"
    assert row(text, "4  change 4") == "4 change 4 49.0 4.0 2.0 21.0 11.0 47 %"
    assert "step 3 removed 80.0 %, step 4 removed 12.0 %; 7.9 % is left." in told


def test_everything_fits_80_columns_and_order_and_cautions_are_said(shown):
    text = shown(result_of(*USUAL, title="A title " * 8, background={"laeq": [30.0]}))
    assert max(map(len, text.splitlines())) <= 80
    told = words(text)
    assert ORDER in told
    for caution in CAUTIONS:
        assert caution in told
    for word in ("fire door", "escape", "carbon monoxide", "alarms", "hearing protection", "neighbours"):
        assert word in told


def test_limits_read_at_least_and_what_cannot_be_told_is_not(shown):
    text = shown(result_of(70.0, 60.0, 45.0, 44.0, background={"laeq": [41.0]}))
    told = words(text)
    assert (
        "From 'change 2' to 'change 4': at least 17.3 dB quieter (A-weighted), about a third as loud or less"
        in told
    )
    assert row(text, "3  change 3") == "3 change 3 ≤ 43.7 ≥ 16.3 ≥ 26.3 ≥ 16.3 ≤ 32 %"
    assert row(text, "4  change 4") == "4 change 4 ≤ 42.7 – ≥ 27.3 ≥ 17.3 ≤ 30 %"
    assert "step 3 removed at least 97.7 %, step 4 cannot be told; at most 1.9 % is left." in told
    drowned = words(shown(result_of(44.0, 43.0, 42.0, background={"laeq": [41.0]})))
    assert "cannot be told; the background was too loud" in drowned
    assert "Of the energy at step 2 nothing can be told." in drowned


def test_a_step_that_made_it_louder_says_so(shown):
    told = words(shown(result_of(60.0, 62.0)))
    assert "From 'change 1' to 'change 2': 2.0 ± 2.0 dB louder (A-weighted)." in told
    assert "step 2 added 58.5 %" in told


def test_bands_are_printed_when_asked_for_at_most_eight_steps_abreast(shown):
    steps = [
        {"title": f"change {place}", "levels_db": [{"250": 60.0 - place, "500": 55.0 - 2 * place}]}
        for place in range(11)
    ]
    table = {"kind": "door-test", "title": "Invented", "step": steps}
    result = study_door_test(door_test_from(table), Path())
    text = shown(result, bands=True)
    assert text.count("Gain of each step by band") == 2
    assert row(text, "     500") == "500 " + " ".join(["2.0"] * 8)
    assert "by band" not in shown(result)
    assert "There are no bands" in shown(result_of(*USUAL), bands=True)


def test_without_calibration_levels_are_said_to_be_relative_and_gains_to_hold(shown, write_sound, tmp_path):
    noise = np.random.default_rng(1).normal(size=8 * 16_000)
    for name, scale in (("open", 0.1), ("closed", 0.01)):
        write_sound(tmp_path / f"{name}.wav", scale * noise, 16_000, subtype="PCM_24")
    steps = [{"title": name, "recordings": [f"{name}.wav"]} for name in ("open", "closed")]
    table = {"kind": "door-test", "title": "Invented", "step": steps}
    text = shown(study_door_test(door_test_from(table), tmp_path))
    assert "dB re FS" in text
    assert row(text, "1  open").startswith("1 open −19.")
    assert " 20.0 1" in row(text, "2  closed")
    assert "The gains need none" in words(text)
    assert "re FS" not in shown(result_of(*USUAL))


def test_what_comes_from_files_cannot_steer_the_terminal(shown):
    assert "[bold]open[/]" in shown(result_of(70.0, 60.0, title="[bold]open[/]"))


@pytest.mark.parametrize(
    ("ratio", "text"),
    [
        (0.5, "about half as loud"),
        (0.25, "about a quarter as loud"),
        (0.05, "less than a tenth as loud"),
        (0.92, "hardly quieter to the ear"),
        (1.0, "hardly quieter to the ear"),
    ],
)
def test_loudness_in_words(ratio, text):
    assert loudness_text(ratio) == text
