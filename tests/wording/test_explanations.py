"""The pages inside the tool: complete, findable, and each with where it comes from."""

import csv
import re
from collections import defaultdict
from pathlib import Path
from typing import get_args

import click
import pytest
from click.testing import CliRunner

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.acoustics.weighting import band_weighting_db
from sleepnoise.cli.program import COMMANDS, app
from sleepnoise.dossier.listings import write_events, write_intervals
from sleepnoise.errors import PageError
from sleepnoise.fieldwork.background import FIELD_RULE
from sleepnoise.hearing.audibility import TARGETS_DB
from sleepnoise.judgement.guidelines import Word
from sleepnoise.judgement.uncertainty import GUARD_BAND_TEXT, POSITION_U_DB
from sleepnoise.masking.limits import DEFAULT_CAP_DBA, HARD_CAP_DBA
from sleepnoise.night.event_settings import MERGE_GAP_S, ONSET_DB, RELEASE_DB
from sleepnoise.planning.first_plan import PlanSettings
from sleepnoise.profiles.files import read_guideline
from sleepnoise.recording.calibration import METER_U_DB
from sleepnoise.wording import explanations
from sleepnoise.wording.explanations import PRACTICE, page, pages, themes
from sleepnoise.wording.verdicts import MARKS


def test_every_symbol_is_explained():
    explained = [name for each in pages() for name in each.symbols]
    assert sorted(explained) == sorted(SYMBOLS)


def test_every_verdict_and_its_mark_is_explained():
    for word in get_args(Word):
        assert word in page(word).words
        assert page(MARKS[word]) == page(word)


def test_every_column_of_the_tables_is_explained(record, tmp_path):
    for write, name in ((write_intervals, "intervals.csv"), (write_events, "events.csv")):
        write(record, tmp_path / name)
        with (tmp_path / name).open(encoding="utf-8", newline="") as stream:
            heads = next(csv.reader(stream))
        assert len(heads) > 15
        for head in heads:
            assert page(head)


def test_every_page_has_sources_or_says_that_it_has_none():
    for each in pages():
        shown = CliRunner().invoke(app, ["explain", each.key], env={"COLUMNS": "80"})
        assert shown.exit_code == 0
        assert (PRACTICE in shown.output) == (not each.sources), each.key
        assert max(map(len, shown.output.splitlines())) <= 80, each.key
        assert all(source.document in " ".join(shown.output.split()) for source in each.sources[:1]), each.key


def test_what_is_known_from_memory_says_so():
    assert "(unverified: from memory)" in CliRunner().invoke(app, ["explain", "la90"]).output


def test_no_name_leads_to_two_pages_and_every_reference_to_one():
    found = defaultdict(set)
    for each in pages():
        for name in each.names:
            found[explanations._folded(name)].add(each.key)
        for other in each.see:
            assert page(other).key == other != each.key
    assert {name: keys for name, keys in found.items() if len(keys) > 1} == {}
    assert len({each.key for each in pages()}) == len(pages())


@pytest.mark.parametrize(
    ("asked", "key"),
    [
        ("la90", "la90"), ("L90", "la90"), ("LA90_dB", "la90"), ("laf max", "lafmax"), ("emerg", "emergence"),
        ("Cannot Tell", "cannot-tell"), ("±", "uncertainty"), ("highest_31.5Hz_dB", "third-octave"),
        ("DnT,w", "dnt-w"), ("R'w", "rw"), ("SEL", "lae"), ("dB", "decibel"),
    ],
)  # fmt: skip
def test_looking_up_forgives(asked, key):
    if asked == "emerg":
        # Two pages begin so: both are offered.
        with pytest.raises(PageError) as error:
            page(asked)
        assert key in error.value.remedy
    else:
        assert page(asked).key == key


def test_a_near_miss_is_offered_and_nonsense_is_not():
    done = CliRunner().invoke(app, ["explain", "lafmx"])
    assert done.exit_code == 2
    assert "lafmax" in done.stderr
    assert "See all" in CliRunner().invoke(app, ["explain", "qqqqq"]).stderr


def test_lists_go_by_theme_and_hold_every_page():
    listed = " ".join(CliRunner().invoke(app, ["explain"], env={"COLUMNS": "80"}).output.split())
    assert all(each.key in listed for each in pages())
    assert len(themes()) == 7
    safety = CliRunner().invoke(app, ["explain", "safety"]).output
    for word in ("fire-door", "escape-window", "combustion-air", "alarms", "infants", "hearing"):
        assert word in safety


def test_a_page_without_a_source_that_does_not_say_so_is_refused():
    with pytest.raises(ValueError, match="sources or practice"):
        explanations._page({"key": "x", "name": "X", "meaning": "y"}, "levels", {})


def test_numbers_on_the_pages_are_those_of_the_program():
    """What a page says of this program, against the constants that it speaks of."""
    said = {each.key: f"{each.here} {each.formula} {each.meaning}" for each in pages()}
    assert f"{RELEASE_DB:g} dB above the background and reaches at least {ONSET_DB:g} dB" in said["event"]
    assert f"no more than {MERGE_GAP_S:g} s apart" in said["event"]
    assert f"up to {DEFAULT_CAP_DBA:g} dB(A)" in said["masker"]
    assert f"never above {HARD_CAP_DBA:g} dB(A)" in said["masker"]
    assert PlanSettings().cap_dba == DEFAULT_CAP_DBA
    assert (
        f"{POSITION_U_DB['weighted']:g} dB (A-weighted) and {POSITION_U_DB['low bands']:g} dB"
        in said["microphone-place"]
    )
    assert (
        f"Between {FIELD_RULE.limit_db:g} and {FIELD_RULE.clear_db:g} dB over"
        in said["background-correction"]
    )
    assert f"{FIELD_RULE.correction_at_limit_db:g} dB is taken off" in said["background-correction"]
    for name, about in (("hardly audible", 3), ("not noticeable", 13)):
        assert round(TARGETS_DB[name]) == about
        assert f"{name} (about {about} dB)" in said["audibility-margin"]
    (typical, _) = page("reference-meter").typical[0]
    assert typical.endswith(f"{METER_U_DB[1]:g} dB (class 1), {METER_U_DB[2]:g} dB (class 2)")


def test_typical_values_of_the_who_are_those_of_its_profile():
    levels = {
        criterion.quantity: criterion.level_db
        for criterion in read_guideline("who-1999-bedroom").criterion[:2]
    }
    for key in ("laeq", "lafmax"):
        assert page(key).typical[0][0].startswith(f"{levels[key]:g} dB(A)")


def test_the_a_weighting_takes_off_at_50_hz_what_its_page_says():
    # IEC 61672-1:2013, Table 3: -30.2 dB at 50 Hz (library).
    assert "at 50 Hz about 30 dB" in page("a-weighting").meaning
    assert float(band_weighting_db((50.0,), "A")[0]) == pytest.approx(-30.2, abs=0.05)


def test_pages_name_only_options_and_commands_that_exist():
    known = {option for name in COMMANDS for parameter in app.get_command(click.Context(app), name).params
             for option in parameter.opts}  # fmt: skip
    for each in pages():
        text = f"{each.meaning} {each.here} {each.caution}"
        assert set(re.findall(r"--[a-z-]+", text)) <= known, each.key
        assert {words.split()[0] for words in re.findall(r"'sleepnoise ([^']+)'", text)} <= set(COMMANDS)


def test_guides_and_pages_come_with_the_package():
    assert Path(explanations.FOLDER).is_dir()
    assert explanations.FOLDER.parent.name == "wording"


def test_the_margin_is_explained_here_as_on_the_page_of_a_night():
    assert page("uncertainty").meaning == GUARD_BAND_TEXT
