"""A night in a few sentences."""

from sleepnoise.report.contents import sections_of
from sleepnoise.screens.night_summary import show_night
from sleepnoise.wording.next_steps import owner_options
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


def test_nor_does_the_page(record, uncalibrated):
    sections = {section.key: section for section in sections_of(uncalibrated)}
    assert sections["plan"].sentences == (NO_PLAN,)
    assert sections["plan"].tables == sections["plan"].figures == ()
    assert {row[2] for row in owner_options(uncalibrated).rows} == {"not known"}
    assert "not known" not in {row[2] for row in owner_options(record).rows}
    calibrated = {section.key for section in sections_of(record)}
    assert "what-if" in calibrated - set(sections)
