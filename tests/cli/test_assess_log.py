"""The command ``assess-log``. Every log is invented."""

import json
from datetime import datetime, timedelta

import numpy as np
import pytest
from click.testing import CliRunner

from sleepnoise.cli.program import app
from sleepnoise.profiles.files import shipped_profiles

START = datetime(2026, 2, 10, 22, 30)
ZONE = ("--zone", "Europe/Vienna")
SECONDS = ("--column", "time=Start", "--column", "laeq=LAeq [dB]", "--column", "lafmax=LAFmax [dB]")
QUARTERS = ("--column", "time=Time", "--column", "laeq=LAeq", "--column", "la90=L90")
EVENTS = ((4000, 8, 25.0), (9000, 3, 35.0), (20_000, 40, 15.0))
"""Start after the log's, s; length, s; dB over the background of 27 dB."""


def run(*words):
    return CliRunner().invoke(app, ["assess-log", *map(str, words)], env={"COLUMNS": "80"})


def words_of(text):
    return " ".join(text.split())


def levels(hours=9):
    laeq = 27 + np.random.default_rng(1).normal(0, 0.4, hours * 3600)
    for start_s, length_s, rise_db in EVENTS:
        laeq[start_s : start_s + length_s] += rise_db
    return np.round(laeq, 1)


@pytest.fixture(scope="module")
def by_second(tmp_path_factory):
    path = tmp_path_factory.mktemp("log") / "one [red].csv"
    rows = (
        f"{START + timedelta(seconds=second)};{level:.1f};{level + 1.2:.1f}"
        for second, level in enumerate(levels())
    )
    path.write_text("\n".join(("Start;LAeq [dB];LAFmax [dB]", *rows)))
    return path


@pytest.fixture(scope="module")
def by_quarter(tmp_path_factory):
    """A log of quarter hours that lacks the one from 01:15."""
    path = tmp_path_factory.mktemp("log") / "quarter.csv"
    rows = [
        f"{START + timedelta(minutes=15 * place)},{25 + place % 4:.1f},{20 + place % 3:.1f}"
        for place in range(36)
        if place != 11
    ]
    path.write_text("\n".join(("Time,LAeq,L90", *rows)))
    return path


def test_a_log_of_seconds_gives_figures_verdicts_and_events(by_second):
    done = run(by_second, *SECONDS, *ZONE, "--meter-class", 1)
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("Night of 10 to 11 February 2026\none [red].csv\n")
    night = levels()[1800 : 1800 + 8 * 3600]
    laeq = 10 * np.log10(np.mean(10 ** (night / 10)))
    lines = [line.split() for line in done.stdout.splitlines()]
    assert ["LAeq", f"{laeq:.1f}", "LAeq", "of", "1", "s", "8", "h"] in lines
    assert ["LAFmax", f"{night.max() + 1.2:.1f}", "LAFmax", "of", "1", "s", "8", "h"] in lines
    assert ["LA90", f"{np.percentile(night, 10):.1f}", "LAeq", "of", "1", "s", "8", "h"] in lines
    assert "Loudest of 3 events" in done.stdout
    assert "Highest: LAFmax of 1 s" in done.stdout
    assert "▲ exceeded" in done.stdout
    # ISO 1996-2:2017, Table 1, gives a class 1 meter 0.5 dB; with 1.0 dB for the position U is 2.2 dB.
    assert "±2.2 dB (k = 2): sound level meter of class 1 0.5 dB; position" in words_of(done.stdout)
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_what_was_read_decided_and_is_not_known_is_said(by_second):
    said = words_of(run(by_second, *SECONDS, *ZONE).stdout)
    for part in (
        "columns: time from 'Start', laeq from 'LAeq [dB]'",
        "Night: 23:00-07:00 in Europe/Vienna – default; --window, --zone",
        "Instrument: class 2 – default; --meter-class",
        "The class of the instrument was not given",
        "LCeq: not logged, so nothing is said of it.",
        "A log holds no sound",
        "the whole night.",
    ):
        assert part in said
    assert "who can be heard on it" not in said


def test_a_class_that_is_not_said_counts_as_2_and_bands_are_less_sure(by_second):
    document = json.loads(run(by_second, *SECONDS, *ZONE, "--json", "--guideline", "all").stdout)
    unsure_db = {each["criterion"]["quantity"]: each["uncertainty_db"] for each in document["verdicts"]}
    # Twice the root of the summed squares of 1.5 dB (ISO 1996-2:2017, Table 1) and 1.0 or 3.0 dB of position.
    assert unsure_db["laeq"] == pytest.approx(2 * np.hypot(1.5, 1.0))
    assert unsure_db["band_leq"] == pytest.approx(2 * np.hypot(1.5, 3.0))


def test_unverified_values_are_said(by_second):
    caution = "Values marked unverified"
    assert caution in words_of(run(by_second, *SECONDS, *ZONE).stdout)
    looked_up = ("--guideline", "who-1999-bedroom")
    assert caution not in words_of(run(by_second, *SECONDS, *ZONE, *looked_up).stdout)


def test_a_guideline_of_ones_own_is_named_without_its_folder(by_second, tmp_path):
    own = tmp_path / "own.toml"
    [shipped] = (each.path for each in shipped_profiles("guideline") if each.name == "who-1999-bedroom")
    own.write_bytes(shipped.read_bytes())
    document = json.loads(run(by_second, *SECONDS, *ZONE, "--guideline", own, "--json").stdout)
    assert document["settings"]["guidelines"] == ["own.toml"]
    assert document["inputs"][1]["name"] == "own.toml"


def test_quarter_hours_give_ranges_gaps_and_no_events(by_quarter):
    done = run(by_quarter, *QUARTERS, *ZONE)
    assert done.exit_code == 0, done.output
    said = words_of(done.stdout)
    assert "LA90 20.0 to 22.0 LA90 of each 15 min 7 h 45 min" in said
    assert "or it has gaps" in said
    assert "01:00 ○" in said
    assert "00:00 ○" not in said
    assert "Single events cannot be told apart in steps of 15 min" in said
    assert "Loudest" not in said
    assert "stood out" not in said
    assert "LAFmax was not measured" in said
    assert "1 of 36 steps of 900 s are missing" in said


def test_the_document_holds_the_night_and_is_repeatable(by_second):
    words = (by_second, *SECONDS, *ZONE, "--meter-class", 2, "--json")
    done = run(*words)
    assert done.exit_code == 0, done.output
    assert (done.stderr, done.stdout) == ("", run(*words).stdout)
    document = json.loads(done.stdout)
    assert document["schema"] == {"name": "sleepnoise/log-assessment", "version": 1}
    assert document["night"]["start_local"] == "2026-02-10T23:00:00.000+01:00"
    assert len(document["night"]["hours"]) == 8
    assert len(document["night"]["quarter_hours"]) == 32
    highest = [event["highest_dB"] for event in document["events"]]
    loudest = [levels()[start_s : start_s + length_s].max() + 1.2 for start_s, length_s, _ in EVENTS]
    assert highest == pytest.approx(loudest, abs=0.01)
    assert not any("LAFmax_dB" in event for event in document["events"])
    assert document["settings"]["meter_class"] == 2
    assert [each["role"] for each in document["inputs"]][:2] == ["level log", "guideline profile"]


def test_a_night_without_events_lists_none(tmp_path):
    path = tmp_path / "even.csv"
    rows = (f"{START + timedelta(seconds=second)};30;31" for second in range(3600))
    path.write_text("\n".join(("Start;LAeq [dB];LAFmax [dB]", *rows)))
    done = run(path, *SECONDS, *ZONE)
    assert done.exit_code == 0, done.output
    assert "No sound stood out from the background." in done.stdout
    assert "Loudest of" not in done.stdout


def test_without_maxima_the_events_are_made_of_means(by_second):
    document = json.loads(run(by_second, *SECONDS[:4], *ZONE, "--json").stdout)
    assert document["events_made_of"].startswith("LAeq of 1 s")
    assert document["events"][1]["highest_dB"] == pytest.approx(levels()[9000:9003].max(), abs=0.01)


def test_quarter_hours_have_no_events_in_the_document(by_quarter):
    assert json.loads(run(by_quarter, *QUARTERS, *ZONE, "--json").stdout)["events"] is None


def test_a_mapping_file_serves_and_columns_win(by_second, tmp_path):
    mapping = tmp_path / "meter.toml"
    mapping.write_text('time = "Start"\nlaeq = "nowhere"\nlafmax = "LAFmax [dB]"\n')
    words = ("--mapping", mapping, "--column", "laeq=LAeq [dB]", *ZONE, "--json")
    document = json.loads(run(by_second, *words).stdout)
    assert set(document["log"]["columns"]) == {"LAFmax_dB", "LAeq_dB"}
    assert "column mapping" in [each["role"] for each in document["inputs"]]
    assert "nowhere" in run(by_second, "--mapping", mapping, *ZONE).stderr


def test_window_and_guideline_are_those_chosen(by_second):
    chosen = ("--window", "23:00-03:00", "--guideline", "who-1999-bedroom")
    done = run(by_second, *SECONDS, *ZONE, *chosen)
    said = words_of(done.stdout)
    assert "covers 23:00 to 03:00" in said
    assert "Night: 23:00-03:00 in Europe/Vienna – your option" in said
    assert "Guidelines: who-1999-bedroom – your option" in said
    assert "BS 8233" not in said
    document = json.loads(run(by_second, *SECONDS, *ZONE, *chosen, "--json").stdout)
    assert {verdict["criterion"]["guideline"] for verdict in document["verdicts"]} == {
        "WHO 1999, inside bedrooms at night"
    }


def test_a_check_ends_with_status_1_only_if_something_is_exceeded(by_second, tmp_path):
    quiet = tmp_path / "quiet.csv"
    rows = (f"{START + timedelta(minutes=15 * place)},12,10" for place in range(36))
    quiet.write_text("\n".join(("Time,LAeq,L90", *rows)))
    assert run(by_second, *SECONDS, *ZONE, "--check").exit_code == 1
    assert run(by_second, *SECONDS, *ZONE).exit_code == 0
    assert run(quiet, *QUARTERS, *ZONE, "--check").exit_code == 0


def test_a_log_of_several_days_says_which_night_it_was(tmp_path):
    path = tmp_path / "week.csv"
    rows = (f"{START + timedelta(minutes=15 * place)},30,25" for place in range(3 * 96))
    path.write_text("\n".join(("Time,LAeq,L90", *rows)))
    said = words_of(run(path, *QUARTERS, *ZONE).stdout)
    assert "Night of 10 to 11 February 2026" in said
    assert "Only the night that it covers most of" in said


def test_nothing_judged_shows_no_table_of_verdicts(by_second):
    said = words_of(run(by_second, *SECONDS, *ZONE, "--guideline", "who-2009-night").stdout)
    assert "No guideline value was judged." in said
    assert "Allowed" not in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (SECONDS, "the time zone must be given"),
        (ZONE, "no column of levels is named"),
        ((*SECONDS, "--zone", "Nowhere/Here"), "Nowhere/Here"),
        ((*ZONE, "--column", "time=Start", "--column", "laeq=Nope"), "Nope"),
        ((*ZONE, "--column", "laeq"), "KEY=COLUMN"),
        ((*ZONE, *SECONDS, "--mapping", "none.toml"), "none.toml"),
        ((*ZONE, *SECONDS, "--guideline", "nope"), "nope"),
        ((*ZONE, *SECONDS, "--window", "9"), "night window"),
        ((*ZONE, *SECONDS, "--window", "12:00-13:00"), "no part between"),
    ],
)
def test_mistakes_end_with_status_2_and_a_remedy(by_second, words, said):
    done = run(by_second, *words)
    assert done.exit_code == 2
    assert said in done.stderr
    assert "What to do: " in done.stderr
    assert done.stdout == ""


def test_a_class_that_there_is_not_is_wrong_usage(by_second):
    assert run(by_second, *SECONDS, *ZONE, "--meter-class", 3).exit_code == 2
