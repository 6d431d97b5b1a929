"""A night in a few sentences."""

from sleepnoise.screens.night_summary import show_night
from sleepnoise.wording.sentences import NO_PLAN, in_short


def test_without_calibration_nothing_is_said_of_what_can_be_heard_or_of_published_values(
    record, uncalibrated, capsys
):
    told = " ".join(in_short(uncalibrated))
    assert NO_PLAN in told
    assert "No published value can be judged" in told
    for words in ("audibility margin", "no masker"):
        assert words not in told
        assert words in " ".join(in_short(record)) or words == "no masker"
    show_night(uncalibrated)
    shown = capsys.readouterr().out
    assert "Still audible" not in shown
    assert "Guideline values" not in shown
    show_night(record)
    shown = capsys.readouterr().out
    assert "Still audible" in shown
    assert "Guideline values" in shown
