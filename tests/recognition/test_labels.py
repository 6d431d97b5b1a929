"""Labels files: stretches of time and groups, whose they are, and every mistake with its line."""

from datetime import UTC, datetime

import pytest

from sleepnoise.errors import RecordingError
from sleepnoise.recognition.labels import read_labels, whose_by_label


def test_stretches_and_groups_are_read_with_whose_they_are(written, recorded):
    labels = read_labels(
        written(
            "start,end,label,whose,group\n"
            "02:13,02:14,cough,,\n"
            "23:10:05,23:10:09,stairwell door,outside,\n"
            ",,tram,Outside,passing low sound 1\n"
            "2026-02-12T01:00,2026-02-12T01:05,snoring,,\n"
        ),
        recorded,
    )
    assert [(span.label, span.whose, span.line) for span in labels.spans] == [
        ("stairwell door", "outside", 3),
        ("cough", "sleeper", 2),
    ]
    assert labels.spans[0].start == datetime(2026, 2, 10, 22, 10, 5, tzinfo=UTC)
    assert [(each.group, each.label, each.whose) for each in labels.groups] == [
        ("passing low sound 1", "tram", "outside")
    ]
    assert labels.other_nights == 1


def test_three_columns_are_enough(written, recorded):
    labels = read_labels(written("start,end,label\n02:13,02:14,cough\n"), recorded)
    assert labels.spans[0].whose == "sleeper"
    assert labels.remarks == ("night.csv: taken for the sleeper's or the room's own by their label: cough.",)


def test_a_label_that_does_not_tell_whose_counts_as_before_and_is_named(written, recorded):
    labels = read_labels(written("start,end,label\n02:13,02:14,thump\n"), recorded)
    assert labels.spans[0].whose == ""
    assert labels.remarks == ("night.csv: does not say whose, so counted as before: thump.",)


@pytest.mark.parametrize(
    ("label", "whose"),
    [
        ("cough", "sleeper"), ("Coughing", "sleeper"), ("turning over", "sleeper"), ("my snoring", "sleeper"),
        ("sneeze", "sleeper"), ("breathing", "sleeper"), ("clock", "room"), ("alarm clock", "room"),
        ("clock ticking", "room"), ("neighbour coughing", ""), ("neighbour's alarm clock", ""),
        ("door", ""), ("snoring through the wall", ""), ("clockwork", ""), ("turning of the lorry", ""),
    ],
)  # fmt: skip
def test_only_labels_that_say_it_alone_are_the_sleepers_or_the_rooms(label, whose):
    assert whose_by_label(label) == whose


def test_what_is_said_goes_before_what_the_label_would_tell(written, recorded):
    labels = read_labels(written("start,end,label,whose\n02:13,02:14,snoring,outside\n"), recorded)
    assert (labels.spans[0].whose, labels.remarks) == ("outside", ())


def test_every_mistake_is_named_with_file_and_line(written, recorded):
    path = written(
        "start,end,label,whose,group\n"
        "02:13,02:14,,,\n"
        "nought,02:14,cough,,\n"
        "02:13,02:14,cough,mine,\n"
        "02:13,02:14,cough,,short low sound 1\n"
        "12:00,12:30,cough,,\n"
        "02:20,02:21,cough,,\n"
    )
    with pytest.raises(RecordingError) as refused:
        read_labels(path, recorded)
    told = refused.value.complaint.split("\n")
    assert told[0].startswith(f"{path}, line 2: has no label")
    assert told[1].startswith("line 3: a time is needed, got 'nought'")
    assert told[2].startswith("line 4: whose must be outside, room or sleeper, or stay empty, got 'mine'")
    assert told[3].startswith("line 5: names a group and a time")
    assert told[4].startswith("line 6: 12:00 to 12:30 lies nowhere in the recording")
    assert len(told) == 5


def test_a_file_full_of_mistakes_names_ten_and_counts_the_rest(written, recorded):
    path = written("start,end,label\n" + "x,y,cough\n" * 25)
    with pytest.raises(RecordingError, match=r"and 15 more\.$"):
        read_labels(path, recorded)


def test_a_formula_in_a_label_stays_text(written, recorded):
    labels = read_labels(written('start,end,label\n02:13,02:14,"=1+1"\n'), recorded)
    assert labels.spans[0].label == "=1+1"


def test_how_dates_in_figures_were_read_is_said(written, recorded):
    labels = read_labels(written("start;end;label\n11.02.2026 02:13;11.02.2026 02:14;cough\n"), recorded)
    assert labels.spans[0].start == datetime(2026, 2, 11, 1, 13, tzinfo=UTC)
    assert "night.csv: dates in figures were read day first." in labels.remarks
