"""What is said before and after many nights."""

from sleepnoise.assessing.record import AssessSettings
from sleepnoise.portfolio.task import NightTask
from sleepnoise.screens.many_nights import MOST_NAMED, show_found, show_outcomes


def test_what_was_found_is_said_by_bedroom(capsys):
    tasks = [
        NightTask(bedroom=f"flat {flat}", night=str(night), recordings=("x.wav",), settings=AssessSettings())
        for flat in range(MOST_NAMED + 2)
        for night in range(2)
    ]
    show_found(tasks)
    said = capsys.readouterr().err
    assert said.startswith("Found: 28 nights of 14 bedrooms: flat 0 (2), flat 1 (2)")
    assert said.strip().endswith("flat 11 (2) and 2 more.")


def test_a_survey_is_proposed_only_if_there_is_something_to_survey(capsys):
    show_outcomes({"failed": 2}, "results")
    said = capsys.readouterr().out
    assert "survey" not in said
    assert "run the same again" in said
    show_outcomes({"finished": 2}, "results")
    said = capsys.readouterr().out
    assert "Next: sleepnoise survey results" in said
    assert "run the same again" not in said
