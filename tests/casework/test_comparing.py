import json
import time
from datetime import date

import pytest

from sleepnoise.casework.adding import accept_changes
from sleepnoise.casework.comparing import compare_nights, comparison_document
from sleepnoise.casework.dossier import read_dossier
from sleepnoise.casework.missing import points_of
from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.evidence.plain import document_text


def test_thirty_nights_are_compared_by_windows_and_before_and_after(many):
    compared = compare_nights(read_dossier(many), date(2026, 2, 25))
    assert [len(group.nights) for group in compared.groups] == [20, 9]
    assert len(compared.nights) == 30
    # One was measured in part: the recording that all came from.
    assert [len(group.partial) for group in compared.groups] == [1, 0]
    # Each night is 0.1 dB louder than the one before: fifteen nights make 1.5 dB.
    change = compared.changes[0].by_windows["closed"].laeq
    assert change.difference == pytest.approx(1.5, abs=0.15)
    assert (change.word, change.method) == ("louder", "resampled")
    assert compared.windows is not None
    assert compared.windows.window_states == ("open", "closed")
    assert [day.name for day in compared.groups[0].week.days][:2] == ["Monday", "Tuesday"]


def test_thirty_nights_are_opened_compared_and_told_in_less_than_five_seconds(many):
    begun = time.process_time()
    dossier = read_dossier(many)
    compared = compare_nights(dossier, date(2026, 2, 25))
    document_text(comparison_document(compared))
    assert points_of(dossier, compared)
    assert time.process_time() - begun < 5.0


def test_the_document_holds_every_figure(many):
    text = document_text(comparison_document(compare_nights(read_dossier(many), date(2026, 2, 25))))
    table = json.loads(text)
    assert table["schema"] == {"name": "sleepnoise/nights-compared", "version": 1}
    assert len(table["nights"]) == 30
    assert table["changes"][0]["by_windows"]["closed"]["LAeq_dB"]["word"] == "louder"
    assert table["windows"]["window_states"] == ["open", "closed"]


def test_each_treatment_is_held_against_the_time_since_the_one_before(many, tools):
    with (many / "dossier.toml").open("a", encoding="utf-8") as stream:
        for day, title in ((20, "curtain"), (26, "seals")):
            stream.write(f'[[treatment]]\nfirst_evening = 2026-02-{day}\ntitle = "{title}"\n')
    accept_changes(many, tools.now, "two treatments")
    first, second = compare_nights(read_dossier(many)).changes
    assert (first.title, first.first_evening, second.title) == ("curtain", date(2026, 2, 20), "seals")
    # Closed nights from 10 to 19 February (the 10th was measured in part), 20 to 25, 26 to 11 March.
    counts = [(each.laeq.before_nights, each.laeq.after_nights) for change in (first, second)
              for each in [change.by_windows["closed"]]]  # fmt: skip
    assert counts == [(6, 4), (4, 10)]


def test_a_change_without_nights_on_both_sides_is_told(many):
    with pytest.raises(SettingsError, match="no two were measured before and from 2027-01-01"):
        compare_nights(read_dossier(many), date(2027, 1, 1))


def test_a_result_that_was_changed_goes_into_no_figure(kept):
    path = next(kept.glob("nights/*/assessed/*/assessment.json"))
    path.write_text(path.read_text("utf-8").replace("2880", "2881", 1), encoding="utf-8")
    with pytest.raises(RecordingError, match="is not what was written"):
        compare_nights(read_dossier(kept))


def test_a_night_whose_settings_changed_is_in_no_figure(kept, tools):
    path = kept / "dossier.toml"
    path.write_text(path.read_text("utf-8").replace("23:00-07:00", "22:00-06:00"), encoding="utf-8")
    accept_changes(kept, tools.now, "the hours that hold here")
    compared = compare_nights(read_dossier(kept))
    assert (compared.nights, compared.not_assessed) == ((), ("2026-02-10",))


def test_what_is_missing_is_told_with_what_to_do(kept, empty_points):
    states = {point.what: point.state for point in empty_points}
    assert states == {
        "Calibration": "missing", "Nights": "missing", "Assessed": "missing", "Windows": "missing",
        "Guideline": "there", "Room": "missing", "Door test": "missing", "Labels, diary": "missing",
    }  # fmt: skip
    assert all(point.remedy for point in empty_points if point.state != "there")
    dossier = read_dossier(kept)
    found = {point.what: point for point in points_of(dossier, compare_nights(dossier))}
    assert found["Calibration"].state == found["Assessed"].state == found["Windows"].state == "there"
    assert found["Nights"].found == "0 whole with windows closed, 1 measured in part"


@pytest.fixture
def empty_points(tmp_path, tools):
    dossier = read_dossier(tools.new_dossier(tmp_path / "none"))
    return points_of(dossier, compare_nights(dossier))
