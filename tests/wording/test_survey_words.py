from types import SimpleNamespace

import pytest

from sleepnoise.wording.survey_words import failure_table


@pytest.mark.parametrize(
    ("complaint", "shown"),
    [
        ("/home/me/flat 3/night.wav: is cut short.", "night.wav: is cut short."),
        ("C:\\nights\\flat 3\\night.wav: is cut short.", "night.wav: is cut short."),
        ("night.wav: 3/4 of 1 m/s and 50/60 Hz.", "night.wav: 3/4 of 1 m/s and 50/60 Hz."),
    ],
)
def test_a_survey_does_not_say_where_somebody_keeps_recordings(complaint, shown):
    failure = SimpleNamespace(bedroom="flat-3", night="2026-02-10", complaint=complaint)
    assert failure_table(SimpleNamespace(failures=[failure])).rows == (("flat-3", "2026-02-10", shown),)
