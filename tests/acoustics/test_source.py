"""A number's source says how its value is known, and refuses to say it otherwise."""

import pytest

from sleepnoise.acoustics.source import Source


def source(how_known):
    return Source(document="IEC 61672-1:2013", place="Table 3", how_known=how_known)


@pytest.mark.parametrize("how_known", ["looked-up", "library", "computed"])
def test_what_was_seen_counts_as_verified(how_known):
    assert source(how_known).verified


@pytest.mark.parametrize("how_known", ["memory", "assumption"])
def test_what_was_recalled_or_assumed_does_not(how_known):
    assert not source(how_known).verified


def test_printed_it_shows_its_doubt():
    assert str(source("memory")) == "IEC 61672-1:2013, Table 3 (memory)"


def test_another_way_of_knowing_is_refused():
    with pytest.raises(ValueError, match=r"how_known must be one of looked-up, .*, got 'hearsay'"):
        source("hearsay")
