"""A night in a few sentences."""

from dataclasses import replace

import pytest

from sleepnoise.report.contents import sections_of
from sleepnoise.report.html import night_page
from sleepnoise.report.sections import DEPTH
from sleepnoise.screens.night_summary import show_night
from sleepnoise.wording.next_steps import owner_options
from sleepnoise.wording.sentences import FULL_SCALE, NO_PLAN, files_text, in_short


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


def test_full_scale_is_explained_once_where_levels_lie_below_it(record, uncalibrated):
    told = in_short(uncalibrated)
    assert told.index(FULL_SCALE) == 1
    assert FULL_SCALE not in in_short(record)


def test_how_far_the_loudest_sound_stands_out_needs_no_calibration(uncalibrated):
    loudest = max(uncalibrated.assessment.events, key=lambda event: event.lafmax)
    assert f"{loudest.emergence_db:.0f} dB above the background" in " ".join(in_short(uncalibrated))


def test_each_decision_names_the_option_that_decides_otherwise(record, capsys):
    show_night(record)
    shown = " ".join(capsys.readouterr().out.split())
    assert "otherwise by --window" in shown
    assert "pin" not in shown.split("What was decided")[1].split()


def test_nor_does_the_page(record, uncalibrated):
    sections = {section.key: section for section in sections_of(uncalibrated)}
    assert sections["plan"].sentences == (NO_PLAN,)
    assert sections["plan"].tables == sections["plan"].figures == ()
    assert sections["values"].readers == DEPTH
    assert {row[2] for row in owner_options(uncalibrated).rows} == {"not known"}
    assert "not known" not in {row[2] for row in owner_options(record).rows}
    calibrated = {section.key for section in sections_of(record)}
    assert "what-if" in calibrated - set(sections)


@pytest.mark.parametrize(("below_db", "said"), [(6.9, True), (7.1, False)])
def test_a_background_near_the_recorders_own_noise_is_an_upper_bound(record, below_db, said):
    own_noise = record.assessment.statistics.la90 - below_db
    known = replace(record, settings=replace(record.settings, own_noise_la_db=own_noise))
    assert ("LA90 is at most this" in in_short(known)[0]) == said
    assert "at most" not in in_short(record)[0]


def test_a_night_of_several_files_names_the_first_and_the_last(record):
    mark, part = record.provenance.inputs[0], record.sound.parts[0]
    night = replace(
        record,
        sound=replace(record.sound, parts=(part, part)),
        provenance=replace(record.provenance, inputs=(mark, replace(mark, name="second.wav"))),
    )
    assert files_text(record) == mark.name
    assert files_text(night) == f"2 files, {mark.name} to second.wav"
    assert f'<p class="file">2 files, {mark.name} to second.wav ·' in night_page(night)
