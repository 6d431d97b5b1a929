"""Profile files: the shipped ones hold, and whatever else is handed in is refused in one clear sentence."""

import copy
import json
import math
import os
import time
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.errors import ProfileError
from sleepnoise.profiles.files import (
    LARGEST_PROFILE_BYTES,
    read_guideline,
    read_masker,
    read_profile,
    read_treatment,
    shipped_folder,
    shipped_profiles,
)
from sleepnoise.profiles.mistakes import MISTAKES_SHOWN

SHIPPED = sorted(shipped_folder().rglob("*.toml"))

GUIDELINE = """
kind = "guideline"
title = "Invented"
summary = "Invented for a test."
jurisdiction = "nowhere"

[[criterion]]
id = "invented"
title = "Invented value"
quantity = "laeq"
rule = "not exceeded"
over = "period"
level_db = 30
single_night_ok = true
applies_to = "everything"
source = "page"

[sources.page]
document = "An invented document"
place = "its only page"
how_known = "assumption"
"""

TREATMENT = """
kind = "treatment"
title = "Invented seal"
summary = "Invented for a test."
acts_on = "a door that does not exist"
insertion_loss_db = { "1000" = 3, "125" = 1.5, "31.5" = 0 }
spread_db = 2
basis = "invented"
source = "page"

[sources.page]
document = "An invented document"
place = "its only page"
how_known = "assumption"
"""

MASKER = """
kind = "masker"
title = "Invented sound"
summary = "Invented for a test."
band_slope_db_per_octave = -3
lowest_hz = 31.5
highest_hz = 16000
source = "page"

[sources.page]
document = "An invented document"
place = "its only page"
how_known = "assumption"
"""

BY_KIND = {"guideline": GUIDELINE, "treatment": TREATMENT, "masker": MASKER}


def written(folder, text, name="mine.toml"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def complaint_of(path):
    with pytest.raises(ProfileError) as caught:
        read_profile(path)
    assert caught.value.remedy
    assert len(caught.value.complaint) < 2500
    assert caught.value.complaint.replace("\n", "").isprintable()
    return caught.value.complaint


def complaint_if_any(path):
    try:
        read_profile(path)
    except ProfileError as error:
        return error.complaint
    return None


def changed(old, new, text=GUIDELINE):
    assert old in text
    return text.replace(old, new)


def as_toml(value):
    """Write a value as inline TOML: enough for profiles, and free of other writers' opinions."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {as_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + "".join(f"\n  {as_toml(each)}," for each in value) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return {math.inf: "inf", -math.inf: "-inf"}.get(value, "nan")
    return json.dumps(value, ensure_ascii=False)


def document(table):
    return "\n".join(f"{json.dumps(key)} = {as_toml(value)}" for key, value in table.items())


def places(value, at=()):
    """Every place in a table: the keys that lead to it."""
    if at:
        yield at
    children = (
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    )
    for key, child in children:
        yield from places(child, (*at, key))


def table_of(path):
    return tomllib.loads(path.read_text(encoding="utf-8"))


# The shipped files.


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_profiles_are_valid_and_lie_in_the_folder_of_their_kind(path):
    profile = read_profile(path)
    assert path.parent.name == f"{profile.kind}s"
    assert read_profile(path.stem) == profile
    for source in profile.sources.values():
        assert source.source().document == source.document


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_profiles_describe_no_source_that_nothing_names(path):
    profile = read_profile(path)
    entries = {"guideline": "criterion", "construction": "element"}.get(profile.kind)
    named = {entry.source for entry in (getattr(profile, entries) if entries else [profile])}
    assert set(profile.sources) == named


def test_shipped_names_differ_from_each_other():
    assert len({path.stem for path in SHIPPED}) == len(SHIPPED) > 0


def test_shipped_profiles_are_listed_by_kind_and_name():
    listed = shipped_profiles()
    assert [(entry.kind, entry.name) for entry in listed] == sorted((e.kind, e.name) for e in listed)
    assert {entry.path for entry in listed} == set(SHIPPED)
    assert {entry.kind for entry in shipped_profiles("guideline")} == {"guideline"}
    assert {entry.name for entry in shipped_profiles("guideline")} >= {
        "who-1999-bedroom",
        "bs-8233-2014-bedroom",
    }


def test_shipped_profiles_are_at_most_a_third_of_the_largest_that_is_read():
    assert max(path.stat().st_size for path in SHIPPED) * 3 <= LARGEST_PROFILE_BYTES


def test_reading_all_shipped_profiles_is_cheap():
    began = time.process_time()
    shipped_profiles()
    assert time.process_time() - began < 0.5


def one_of_each(paths):
    """One place of each shape and kind of profile: entries of a list, bands and sources are checked alike."""
    found = {}
    for path in paths:
        for place in places(table_of(path)):
            shape = ["#" if isinstance(key, int) or key[0].isdigit() else key for key in place]
            if place[0] == "sources":
                shape[1:2] = "#"
            found.setdefault((path.parent.name, *shape), (path, place))
    return list(found.values())


CASES = one_of_each(SHIPPED)
WRONG = {
    "text": "x",
    "empty text": "",
    "control characters": "a\x1b[31mb",
    "negative": -1e6,
    "huge": 1e30,
    "huge whole number": 10**17,
    "nan": math.nan,
    "infinite": math.inf,
    "switch": True,
    "list": [],
    "table": {},
}


@pytest.mark.parametrize(
    ("path", "place"), CASES, ids=lambda part: part.stem if hasattr(part, "stem") else None
)
def test_every_key_of_shipped_profiles_is_checked(path, place, tmp_path):
    """Each key in turn is left out and given wrong values: the profile stays valid, or the key is named."""
    original = table_of(path)
    refused = 0
    for wrong in ("missing", *WRONG):
        table = copy.deepcopy(original)
        *way, last = place
        parent = table
        for key in way:
            parent = parent[key]
        if wrong == "missing":
            del parent[last]
        else:
            parent[last] = WRONG[wrong]
        mine = written(tmp_path, document(table), path.name)
        complaint = complaint_if_any(mine)
        if complaint is not None:
            refused += 1
            assert path.name in complaint
            assert _names(complaint, place), (wrong, complaint)
    assert refused >= 5  # wrong types at the very least


def _names(complaint, place):
    """Whether a complaint says where: by the key, its position, or the key that needs it."""
    keys = [str(key + 1) if isinstance(key, int) else key for key in place]
    return any(key in complaint for key in keys)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_writer_of_these_tests_changes_nothing(path, tmp_path):
    assert read_profile(written(tmp_path, document(table_of(path)))) == read_profile(path)


# What is wrong is named. One case a line reads best.
# ruff: noqa: E501


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("level_db = 30\n", "level_db = 30\nlevell_db = 3\n", ["criterion 1 levell_db", "not a key"]),
        ("level_db = 30\n", "", ["criterion 1", "level_db or bands_db"]),
        ("level_db = 30\n", 'level_db = "30"\n', ["criterion 1 level_db", "'30'"]),
        ("level_db = 30\n", "level_db = true\n", ["criterion 1 level_db"]),
        ("level_db = 30\n", "level_db = 151\n", ["criterion 1 level_db", "150", "151"]),
        ("level_db = 30\n", "level_db = nan\n", ["criterion 1 level_db", "finite"]),
        ('source = "page"', 'source = "pages"', ["source 'pages'", "page"]),
        ('how_known = "assumption"', 'how_known = "hearsay"', ["sources page how_known", "memory", "hearsay"]),
        ('title = "Invented"', 'title = ""', ["title", "empty"]),
        ('title = "Invented"', 'title = " "', ["title", "empty"]),
        ('title = "Invented"', 'title = "\\u001b[2J"', ["title", "control"]),
        ('title = "Invented"', 'title = "a\\u202eb"', ["title", "control"]),
        ('title = "Invented"', "title = 7", ["title", "7"]),
        ('title = "Invented"', f'title = "{"x" * 2001}"', ["title", "2000"]),
        ('title = "Invented"\n', "", ["title", "missing"]),
        ('id = "invented"', 'id = "In vented"', ["criterion 1 id", "small letters"]),
        ("level_db = 30\n", 'level_db = 30\nperiod = ["23:00"]\n', ["criterion 1 period"]),
        ("level_db = 30\n", 'level_db = 30\nperiod = ["23:00", "7:00"]\n', ["criterion 1 period 2", "clock time", "7:00"]),
        ("level_db = 30\n", 'level_db = 30\nperiod = ["23:00", "24:00"]\n', ["criterion 1 period 2", "24:00"]),
        ("level_db = 30\n", 'level_db = 30\nperiod = ["22:00", "22:00"]\n', ["criterion 1", "period", "different"]),
        ("level_db = 30\n", 'level_db = 30\nhours = 8\nperiod = ["22:00", "06:00"]\n', ["criterion 1", "hours"]),
        ("level_db = 30\n", "level_db = 30\nhours = 0\n", ["criterion 1 hours"]),
        ("level_db = 30\n", "level_db = 30\ncount_allowed = 3\n", ["criterion 1", "count_allowed"]),
        ("level_db = 30\n", "level_db = 30\ncount_allowed_upper = 3\n", ["criterion 1", "count_allowed_upper"]),
        ('rule = "not exceeded"', 'rule = "count"', ["criterion 1", "count"]),
        ('over = "period"', 'over = "event"', ["criterion 1", "event"]),
        ('quantity = "laeq"', 'quantity = "lafmax"', ["criterion 1", "event"]),
        ('quantity = "laeq"', 'quantity = "band_leq"', ["criterion 1", "bands_db"]),
        ('quantity = "laeq"', 'quantity = "loud"', ["criterion 1 quantity", "laeq", "loud"]),
        ("level_db = 30\n", 'bands_db = { "50" = 43 }\n', ["criterion 1", "bands_db"]),
        ("[[criterion]]", "[criterion]", ["criterion", "list"]),
        ("[sources.page]", '[sources."p\\u001bage"]', ["sources"]),
        ('place = "its only page"\n', 'place = "p"\nurl = "javascript:alert(1)"\n', ["sources page url", "web address"]),
        ('place = "its only page"\n', 'place = "p"\nurl = "http://a b"\n', ["sources page url"]),
        ('kind = "guideline"', 'kind = "guidline"', ["kind", "guideline, treatment, masker", "guidline"]),
        ('kind = "guideline"', "kind = [1, 2]", ["kind"]),
        ('kind = "guideline"\n', "", ["kind", "None"]),
    ],
)  # fmt: skip
def test_a_mistake_in_a_guideline_is_named_with_its_place(old, new, named, tmp_path):
    complaint = complaint_of(written(tmp_path, changed(old, new)))
    for word in ["mine.toml", *named]:
        assert word in complaint


def test_bands_are_compared_over_a_period_or_its_loudest_part(tmp_path):
    bands = changed('quantity = "laeq"', 'quantity = "band_leq"')
    bands = changed("level_db = 30\n", 'bands_db = { "50" = 43, "12.5" = 87 }\n', bands)
    for over in (
        'over = "period"',
        'over = "loudest full hour"',
        'over = "loudest stretch"\nstretch_min = 10',
    ):
        text = changed('over = "period"', over, bands)
        assert read_guideline(written(tmp_path, text)).criterion[0].levels_by_hz == {12.5: 87.0, 50.0: 43.0}
    assert "over 'event' belongs" in complaint_of(written(tmp_path, changed('"period"', '"event"', bands)))


# A rule of each kind, and mistakes in it: old text, new text, what the complaint must say.
EMERGENCE = changed(
    'rule = "not exceeded"\nover = "period"\nlevel_db = 30',
    'rule = "emergence"\nover = "source on"\nlevel_db = 3\napplies_above_db = 25\nmeasured_min = 30\n'
    "duration_terms = [{ up_to_min = 5, add_db = 5 }, { up_to_min = 20, add_db = 4 }]",
)
UNDERLYING = changed(
    'rule = "not exceeded"\nover = "period"',
    'rule = "over underlying"\nover = "loudest stretch"\nstretch_min = 5\nexcess_db = 10',
)
SUM = changed(
    'quantity = "laeq"',
    'quantity = "band_sum"\nsummed_bands = ["10", "12.5", "160"]\nsource_alone = true\n'
    'only_above_db = { "10" = 95, "12.5" = 87, "160" = 20 }',
)
RATED = changed("level_db = 30\n", "level_db = 30\nadjustments = { tone = [0, 3, 6], impulse = [] }\n")
SAID = changed(
    "level_db = 30\n",
    'level_db = 30\nsource_kinds = ["road", "rail"]\nwindows = "closed"\nonly_if_heard = ["tone"]\n',
)
OCTAVES = changed(
    'quantity = "laeq"', 'quantity = "octave_leq"', changed("level_db = 30\n", 'bands_db = { "125" = 48 }\n')
)
MISTAKES = [
    (EMERGENCE, 'over = "source on"', 'over = "period"', ["criterion 1", "rule 'emergence' belongs to over 'source on'"]),
    (EMERGENCE, 'rule = "emergence"', 'rule = "not exceeded"', ["criterion 1", "rule 'emergence' belongs"]),
    (EMERGENCE, 'quantity = "laeq"', 'quantity = "lafmax"', ["criterion 1", "over 'event' belongs to quantity 'lafmax'"]),
    (EMERGENCE, "applies_above_db = 25", "applies_above_open_db = 40", ["criterion 1", "applies_above_open_db goes with"]),
    (EMERGENCE, "up_to_min = 5,", "up_to_min = 20,", ["criterion 1", "duration_terms must rise"]),
    (EMERGENCE, "up_to_min = 5,", "up_to_min = 25,", ["criterion 1", "duration_terms must rise"]),
    (EMERGENCE, "add_db = 5 ", "add_db = -5 ", ["criterion 1 duration_terms 1 add_db", "0", "-5"]),
    (EMERGENCE, "add_db = 5 ", "add_dB = 5 ", ["criterion 1 duration_terms 1 add_dB", "not a key"]),
    (EMERGENCE, "measured_min = 30", "measured_min = 481", ["criterion 1 measured_min", "480", "481"]),
    (EMERGENCE, "measured_min = 30", "source_alone = true", ["criterion 1", "source_alone is for means"]),
    (GUIDELINE, "level_db = 30\n", "level_db = 30\napplies_above_db = 25\n", ["applies_above_db belongs to rule 'emergence'"]),
    (GUIDELINE, "level_db = 30\n", "level_db = 30\nmeasured_min = 5\n", ["measured_min belongs to rule 'emergence'"]),
    (GUIDELINE, "level_db = 30\n", "level_db = 30\nduration_terms = [{ up_to_min = 1, add_db = 1 }]\n", ["duration_terms belongs to emergence"]),
    (RATED, 'quantity = "laeq"\nrule = "not exceeded"\nover = "period"', 'quantity = "lafmax"\nrule = "not exceeded"\nover = "event"', ["adjustments belongs to quantity 'laeq'"]),
    (SUM, 'rule = "not exceeded"\nover = "period"', 'rule = "emergence"\nover = "source on"', ["rule 'emergence' is for 'laeq' and 'octave_leq'"]),
    (SUM, 'rule = "not exceeded"', 'rule = "over underlying"\nexcess_db = 10', ["rule 'over underlying' is for quantity 'laeq'"]),
    (UNDERLYING, "excess_db = 10", "", ["criterion 1", "excess_db belongs to rule 'over underlying'"]),
    (UNDERLYING, "excess_db = 10", "excess_db = 31", ["criterion 1 excess_db", "30", "31"]),
    (UNDERLYING, "stretch_min = 5", "", ["criterion 1", "stretch_min belongs to over 'loudest stretch'"]),
    (UNDERLYING, "stretch_min = 5", "stretch_min = 7", ["criterion 1 stretch_min", "1, 5, 10, 15 or 30", "7"]),
    (GUIDELINE, "level_db = 30\n", "level_db = 30\nexcess_db = 10\n", ["excess_db belongs to rule 'over underlying'"]),
    (SUM, 'summed_bands = ["10", "12.5", "160"]', "", ["criterion 1", "summed_bands belongs to quantity 'band_sum'"]),
    (SUM, '["10", "12.5", "160"]', '["10", "160"]', ["criterion 1", "only_above_db needs a level for each"]),
    (SUM, '["10", "12.5", "160"]', '["10", "12.5", "161"]', ["criterion 1 summed_bands 3", '"8" to "20000"', "161"]),
    (SUM, "level_db = 30", 'bands_db = { "50" = 43 }', ["criterion 1", "bands_db belongs"]),
    (GUIDELINE, "level_db = 30\n", 'level_db = 30\nsummed_bands = ["50"]\n', ["summed_bands belongs to quantity 'band_sum'"]),
    (RATED, "tone =", "tune =", ["criterion 1 adjustments tune", "'tone' or 'impulse'", "tune"]),
    (RATED, "[0, 3, 6]", "[0, 3, 60]", ["criterion 1 adjustments tone 3", "30", "60"]),
    (RATED, "[0, 3, 6]", "3", ["criterion 1 adjustments tone", "list", "3"]),
    (SAID, '"rail"', '"tram"', ["criterion 1 source_kinds 2", "'rail'", "tram"]),
    (SAID, '"closed"', '"ajar"', ["criterion 1 windows", "'open' or 'closed'", "ajar"]),
    (SAID, '["tone"]', '["hum"]', ["criterion 1 only_if_heard 1", "'tone' or 'music'", "hum"]),
    (OCTAVES, '"125" = 48', '"100" = 48', ["criterion 1", "must be octaves"]),
    (OCTAVES, 'quantity = "octave_leq"', 'quantity = "laeq"', ["criterion 1", "bands_db belongs"]),
    (OCTAVES, "single_night_ok = true\n", "", ["criterion 1 single_night_ok", "missing"]),
    (GUIDELINE, 'jurisdiction = "nowhere"', 'jurisdiction = "nowhere"\ncountry = "Sweden"', ["country", '"SE"', "Sweden"]),
    (GUIDELINE, 'jurisdiction = "nowhere"', 'jurisdiction = "nowhere"\nedition = 2014', ["edition", "string", "2014"]),
]  # fmt: skip


@pytest.mark.parametrize("text", [EMERGENCE, UNDERLYING, SUM, RATED, SAID, OCTAVES])
def test_a_guideline_of_ones_own_may_have_every_kind_of_rule(text, tmp_path):
    assert read_guideline(written(tmp_path, text)).criterion[0].id == "invented"


@pytest.mark.parametrize(("text", "old", "new", "named"), MISTAKES)
def test_each_mistake_in_a_rule_is_one_sentence_with_file_key_allowed_and_got(
    text, old, new, named, tmp_path
):
    complaint = complaint_of(written(tmp_path, changed(old, new, text)))
    assert complaint.startswith(str(tmp_path / "mine.toml"))
    assert complaint.count(".toml") == 1
    assert complaint.endswith(".")
    assert "\n" not in complaint
    for word in named:
        assert word in complaint


def test_two_criteria_may_not_share_an_id(tmp_path):
    entry = GUIDELINE[GUIDELINE.index("[[criterion]]") : GUIDELINE.index("[sources")]
    assert "ids must differ" in complaint_of(written(tmp_path, GUIDELINE + entry))


def test_a_count_may_be_a_rising_range_only(tmp_path):
    counting = changed(
        'quantity = "laeq"\nrule = "not exceeded"\nover = "period"',
        'quantity = "lafmax"\nrule = "count"\nover = "event"\ncount_allowed = 10\ncount_allowed_upper = 15',
    )
    assert read_profile(written(tmp_path, counting)).criterion[0].count_allowed_upper == 15
    for upper in (10, 9, 1):
        text = counting.replace("upper = 15", f"upper = {upper}")
        assert "count_allowed_upper must lie above" in complaint_of(written(tmp_path, text))
    assert "criterion 1 count_allowed" in complaint_of(written(tmp_path, counting.replace("= 10", "= 10.0")))


@pytest.mark.parametrize("name", ["630.0", "1e3", "1_000", " 1000", "1001", "0", "-1000", "inf", "1 kHz", ""])
def test_bands_are_named_as_on_a_meter_and_no_other_way(name, tmp_path):
    complaint = complaint_of(written(tmp_path, changed('"1000"', json.dumps(name), TREATMENT)))
    assert "insertion_loss_db" in complaint
    assert "third-octave" in complaint


def test_every_mistake_is_told_up_to_ten(tmp_path):
    text = GUIDELINE.replace("level_db = 30", "level_db = -90").replace('title = "Invented"\n', "")
    complaint = complaint_of(written(tmp_path, text))
    assert "title: is missing" in complaint
    assert "criterion 1 level_db" in complaint
    many = "\n".join(f"wrong_{number} = 1" for number in range(500))
    complaint = complaint_of(written(tmp_path, many + GUIDELINE))
    assert complaint.count("is not a key") == MISTAKES_SHOWN
    assert "and 490 more" in complaint


def test_the_kind_that_is_needed_is_the_kind_that_is_read(tmp_path):
    readers = {"guideline": read_guideline, "treatment": read_treatment, "masker": read_masker}
    for kind, text in BY_KIND.items():
        path = written(tmp_path, text)
        for wanted, read in readers.items():
            if wanted == kind:
                assert read(path).kind == kind
            else:
                with pytest.raises(ProfileError, match=f"the kind must be {wanted} here, got {kind}"):
                    read(path)


def test_bands_come_out_rising(tmp_path):
    treatment = read_treatment(written(tmp_path, TREATMENT))
    assert treatment.loss_by_hz == {31.5: 0, 125.0: 1.5, 1000.0: 3}
    assert list(treatment.loss_by_hz) == [31.5, 125.0, 1000.0]


# Files that are no profiles.


def test_a_missing_file_an_unknown_name_and_a_folder_are_told_apart(tmp_path):
    assert "no such file" in complaint_of(tmp_path / "nowhere.toml")
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    assert "is not a file" in complaint_of(folder)
    assert "there are: " in complaint_of("no-such-name")
    assert "who-1999-bedroom" in complaint_of("")
    assert "no such file" in complaint_of(tmp_path / ("x" * 20) / "y.toml")


def test_paths_that_are_none_are_refused():
    assert "no such file" in complaint_of("a\0b.toml")
    assert "no such file" in complaint_of("a\x1b[2Jb.toml")
    assert "cannot be read" in complaint_of("x" * 5000 + ".toml")
    complaint_of("../../etc/passwd")


def test_a_pipe_or_a_device_is_refused_without_waiting(tmp_path):
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    assert "is not a file" in complaint_of(pipe)
    endless = tmp_path / "endless.toml"
    endless.symlink_to("/dev/zero")
    assert "is not a file" in complaint_of(endless)


def test_a_link_to_a_profile_is_a_profile_and_a_broken_or_endless_one_is_not(tmp_path):
    written(tmp_path, GUIDELINE)
    for name, target in (("link", "mine.toml"), ("broken", "nothing.toml"), ("loop", "loop.toml")):
        (tmp_path / f"{name}.toml").symlink_to(tmp_path / target)
    assert read_profile(tmp_path / "link.toml").title == "Invented"
    assert "no such file" in complaint_of(tmp_path / "broken.toml")
    assert "cannot be read" in complaint_of(tmp_path / "loop.toml")


def test_a_file_that_may_not_be_read_is_refused(tmp_path, monkeypatch):
    path = written(tmp_path, GUIDELINE)

    def refuse(*_args):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)
    assert "Permission denied" in complaint_of(path)


@pytest.mark.parametrize(
    ("raw", "named"),
    [
        (b"", "kind"),
        (b"\xff\xfe" + GUIDELINE.encode("utf-16-le"), "UTF-8"),
        (GUIDELINE.replace("Invented", "Lärm").encode("latin-1"), "UTF-8"),
        (b"RIFF\x24\x00\x00\x00WAVEfmt ", "TOML"),
        (b"{\"kind\": \"guideline\"}", "TOML"),
        (b"kind = 'guideline'\nkind = 'guideline'", "TOML"),
        (b"a = " + b"[\n" * 40_000, "nested"),
        (b"a = " + b"{a=" * 990, "nested"),
        (GUIDELINE.replace("30", "9" * 2_900).encode(), "criterion 1 level_db"),
        (b"a = 2025-13-45", "TOML"),
        (b"a = '\x00'", "TOML"),
        (b"a" + b".a" * 20_000 + b" = 1", "has a line over 3000"),
        (b"[a" + b".a" * 20_000 + b"]", "has a line over 3000"),
        ((b"a" + b".a" * 1_490 + b" = 1\n") * 33, "TOML"),
        (b"".join(b"b%d" % number + b".a" * 1_490 + b" = 1\n" for number in range(33)), "kind"),
        (b"[[a]]\n" * 15_000, "kind"),
        (b"#" * (LARGEST_PROFILE_BYTES + 1), "larger than 100 kB"),
        (GUIDELINE.encode() + b"'" + b"k" * 2_900 + b"' = 1", "not a key"),
        (b"kind = '" + b"g" * 2_900 + b"'", "kind must be one of"),
        (GUIDELINE.encode() + b"'a\\u001b' = 1", "not a key"),
    ],
    ids=lambda part: None if isinstance(part, bytes) else part,
)  # fmt: skip
def test_hostile_files_get_one_short_complaint_at_once(raw, named, tmp_path):
    began = time.process_time()
    assert named in complaint_of(written(tmp_path, raw))
    assert time.process_time() - began < 3


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path):
    raw = b"\xef\xbb\xbf" + GUIDELINE.replace("\n", "\r\n").encode()
    assert read_profile(written(tmp_path, raw)).title == "Invented"


@given(raw=st.binary(max_size=300))
def test_no_bytes_end_in_anything_but_a_complaint(raw, tmp_path_factory):
    path = tmp_path_factory.getbasetemp() / "bytes.toml"
    path.write_bytes(raw)
    with pytest.raises(ProfileError):
        read_profile(path)


def test_a_profile_cannot_be_changed_once_read():
    profile = read_guideline("who-1999-bedroom")
    with pytest.raises(ValueError, match="frozen"):
        profile.criterion[0].level_db = 99.0
