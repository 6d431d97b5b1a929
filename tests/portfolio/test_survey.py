import csv
import io
import math
import re
from itertools import product
from zoneinfo import ZoneInfo

import pytest

from sleepnoise.errors import RecordingError, SettingsError
from sleepnoise.portfolio.ledger import Entry, Outcome, Place, read_entry, write_entry
from sleepnoise.portfolio.survey import ranking_text, survey
from sleepnoise.portfolio.tables import rows_of
from sleepnoise.report.survey_figures import shared_figure
from sleepnoise.report.survey_page import survey_page
from sleepnoise.screens.many_nights import nights_progress, show_survey
from sleepnoise.wording.survey_words import ranking_table, survey_sentences

ROOMS = ("=Larch Court, flat 3", "flat 4", "flat 5")


@pytest.fixture
def portfolio(tmp_path, record):
    """Three bedrooms with the same two nights, and a night that failed with a nasty complaint."""
    for room in ROOMS:
        for night in ("one", "two"):
            place = Place(out=tmp_path, bedroom=room, night=night)
            place.prepare()
            done = Outcome(bedroom=room, night=night, state="finished")
            rows = rows_of(record)
            rows["nights"][0]["recorded_s"] = rows["nights"][0]["window_s"]
            write_entry(Entry(outcome=done, fingerprint="f", rows=rows), place)
    nasty = "x.wav: <script>alert(1)</script> \x1b[31m[bold]."
    failed = Outcome(bedroom="flat 4", night="three", state="failed", complaint=nasty)
    write_entry(Entry(outcome=failed), Place(out=tmp_path, bedroom="flat 4", night="three"))
    return tmp_path


def test_a_survey_counts_ranks_and_compares(portfolio):
    found = survey([portfolio])
    assert (found.nights, found.events) == (6, 18)
    assert [room.bedroom for room in found.ranking.bedrooms] == list(ROOMS)
    assert [pair.together for pair in found.pairs] == [12, 12, 12]
    assert found.compared == 3
    assert len(found.failures) == 1


def with_nights(root, changes):
    """A portfolio whose nights differ from the record in what is said."""
    for (room, night), changed in changes.items():
        place = Place(out=root, bedroom=room, night=night)
        entry = read_entry(place.entry)
        [line] = entry.rows["nights"]
        rows = {**entry.rows, "nights": [{**line, **changed}]}
        write_entry(entry.model_copy(update={"rows": rows}), place)
    return survey([root])


def test_nights_that_hold_the_same_sound_are_named_whatever_they_are_called(portfolio):
    louder = {
        (room, night): {"LAeq_dB": 30.0 + n} for n, (room, night) in enumerate(product(ROOMS, ("one", "two")))
    }
    assert with_nights(portfolio, louder).repeated == ()
    louder[ROOMS[1], "two"] = louder[ROOMS[0], "one"]
    found = with_nights(portfolio, louder)
    assert found.repeated == ((f"{ROOMS[0]} one", f"{ROOMS[1]} two"),)
    assert f"{ROOMS[0]} one = {ROOMS[1]} two" in " ".join(survey_sentences(found))


def test_a_bedroom_of_which_no_night_counts_has_no_rank_and_the_reason_is_said(portfolio):
    short = {(ROOMS[1], night): {"recorded_s": 60.0} for night in ("one", "two")}
    found = with_nights(portfolio, short)
    ranks = {row[1]: row[0] for row in ranking_table(found.ranking).rows}
    assert ranks == {ROOMS[0]: "1", ROOMS[2]: "2", ROOMS[1]: "–"}
    said = " ".join(survey_sentences(found))
    assert f"no night of theirs counts: {ROOMS[1]}." in said
    assert "75 %" in said


def test_neighbours_narrow_the_pairs_and_mistakes_in_their_list_are_told(portfolio, tmp_path):
    path = tmp_path / "neighbours.csv"
    path.write_text("flat 4,flat 5\n")
    assert [pair.bedrooms for pair in survey([portfolio], neighbours=path).pairs] == [("flat 4", "flat 5")]
    for text in ("flat 4\n", "flat 4,flat 9\n", "flat 4,flat 4\n"):
        path.write_text(text)
        with pytest.raises(SettingsError, match="line 1"):
            survey([portfolio], neighbours=path)
    with pytest.raises(RecordingError, match="cannot be read"):
        survey([portfolio], neighbours=tmp_path / "none.csv")


@pytest.mark.parametrize("tolerance_s", [0.0, -1.0, math.nan, math.inf])
def test_a_tolerance_without_sense_is_refused(portfolio, tolerance_s):
    with pytest.raises(SettingsError, match="tolerance"):
        survey([portfolio], tolerance_s=tolerance_s)


def test_the_list_for_spreadsheets_holds_the_ranking_unrounded_and_runs_nothing(portfolio):
    found = survey([portfolio])
    rows = list(csv.DictReader(io.StringIO(ranking_text(found), newline="")))
    assert rows[0]["bedroom"] == "'" + ROOMS[0]
    assert float(rows[1]["margin_db"]) == found.ranking.bedrooms[1].margin_db


def test_the_page_needs_nothing_else_runs_nothing_and_shows_names_as_they_are(portfolio):
    page = survey_page(survey([portfolio]))
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert "http" not in page.replace("http-equiv", "").replace("http://www.w3.org/2000/svg", "")
    assert page.count("flat 5") >= 3
    assert page == survey_page(survey([portfolio]))


def test_the_terminal_shows_the_same_without_control_characters(portfolio, capsys):
    show_survey(survey([portfolio]))
    shown = capsys.readouterr().out
    assert "6 nights in 3 bedrooms, 18 events. Nights that could not be assessed: 1." in shown
    assert "\x1b" not in shown
    assert "Common" in shown


def test_a_failure_is_said_at_once(capsys):
    with nights_progress(1) as done:
        done(Outcome(bedroom="a", night="b", state="failed", complaint="x.wav: is torn.", remedy="Mend it."))
    assert "a, b: x.wav: is torn. Mend it." in capsys.readouterr().err


def test_each_moment_that_two_bedrooms_share_is_a_stroke_at_its_local_time(portfolio):
    found = survey([portfolio])
    drawn = shared_figure(found).svg
    moments = drawn.count('class="laeq"') + drawn.count('class="upper"')
    assert moments == sum(pair.together for pair in found.pairs)
    assert "Europe/Vienna" in shared_figure(found).title
    # The record begins at 23:00 local time; what is drawn first lies in its first hours.
    first = min(found.pairs[0].times).astimezone(ZoneInfo("Europe/Vienna"))
    heads = re.findall(r">(\d\d:\d\d)<", drawn)
    assert heads[0] <= f"{first:%H:%M}" < heads[1]
