"""Published values as limits of a plan; they are those of the shipped profiles, each with its source."""

import pytest

from sleepnoise.assessing.published_limits import published_limits
from sleepnoise.errors import ProfileError, SettingsError

NIGHT = ("23:00", "07:00")


def test_the_bedroom_values_of_who_1999_become_the_strict_pair():
    """WHO 1999, Table 4.1: LAeq 30 dB and LAFmax 45 dB inside bedrooms at night."""
    found = published_limits(["who-1999-bedroom"], NIGHT)
    assert (found.laeq_dba, found.lafmax) == (30.0, (45.0, 0))
    assert [each for each in found.passed_over if "meant outside" in each]


def test_one_criterion_is_named_behind_a_colon():
    """WHO 1999, text: about 45 dB no more than 10 to 15 times a night; 10 surely keep it."""
    found = published_limits(["who-1999-bedroom:who1999_bedroom_lafmax_count"], NIGHT)
    assert (found.laeq_dba, found.lafmax) == (float("inf"), (45.0, 10))


@pytest.mark.parametrize(
    ("word", "reason"),
    [
        ("bbr-2013-bedroom", "unverified, known from memory"),
        ("bs-8233-2014-bedroom", "say it with --source-kind"),
        ("fohmfs-2014-13:fohmfs_laeq", "say how they stand with --windows"),
        ("who-2018-night", "is meant outside"),
        ("ssi-2005-43", "which no plan holds"),
        ("es-rd-1367-2007", "many nights"),
        ("who-1999-bedroom:who1999_bedroom", "has no criterion"),
    ],
)
def test_what_is_no_limit_is_refused_with_its_reason(word, reason):
    with pytest.raises(SettingsError, match=reason) as caught:
        published_limits([word], NIGHT)
    assert caught.value.remedy


def test_conditions_are_kept_to_once_they_are_said():
    """BS 8233:2014, Table 4: LAeq,8h 30 dB, for traffic; FoHMFS 2014:13: LAFmax 45 dB, windows closed."""
    said = published_limits(["bs-8233-2014-bedroom"], NIGHT, "road")
    assert said.laeq_dba == 30.0
    assert published_limits(["fohmfs-2014-13:fohmfs_lafmax"], NIGHT, None, "closed").lafmax == (45.0, 0)
    with pytest.raises(SettingsError, match="and neighbours was said"):
        published_limits(["bs-8233-2014-bedroom"], NIGHT, "neighbours")
    with pytest.raises(SettingsError, match="and open was said"):
        published_limits(["fohmfs-2014-13:fohmfs_lafmax"], NIGHT, None, "open")


def test_a_value_for_other_hours_is_no_limit_of_this_night():
    with pytest.raises(SettingsError, match="22:00-07:00, and the night is 23:00-07:00"):
        published_limits(["fi-993-1992"], NIGHT, "road")
    assert published_limits(["fi-993-1992"], ("22:00", "07:00"), "road").laeq_dba == 30.0


def test_of_two_documents_the_stricter_value_counts_and_a_tangle_is_refused():
    """TA Lärm 6.2: 25 dB(A) in the loudest hour, single peaks up to 10 dB more: 35 dB(A)."""
    both = published_limits(
        ["who-1999-bedroom", "ta-laerm-inside:ta_laerm_inside_peaks"], ("22:00", "06:00"), "industry"
    )
    assert both.lafmax == (35.0, 0)
    tangled = published_limits(
        ["who-1999-bedroom:who1999_bedroom_lafmax", "who-1999-bedroom:who1999_bedroom_lafmax_count"], NIGHT
    )
    assert tangled.lafmax == (45.0, 0)


def test_a_file_is_read_by_its_path_and_an_unknown_name_refused(tmp_path):
    with pytest.raises(ProfileError):
        published_limits(["no-such-document"], NIGHT)
    with pytest.raises(ProfileError):
        published_limits([str(tmp_path / "mine.toml")], NIGHT)
