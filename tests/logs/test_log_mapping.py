"""Column mappings as options and in TOML files."""

from datetime import timedelta

import pytest

from sleepnoise.errors import SettingsError
from sleepnoise.logs.log_mapping import read_log_mapping

ENOUGH = ["time=Time", "laeq=LAeq"]


def test_options_name_columns_and_settings():
    mapping = read_log_mapping(
        [
            *ENOUGH,
            "LAFmax = Max [dB]",
            "31.5=#7",
            "clock=+01:00",
            "stamp=end",
            "separator=tab",
            "missing=OVR ***",
        ]
    )
    assert mapping.named == {"time": "Time", "laeq": "LAeq", "lafmax": "Max [dB]", "31.5": "#7"}
    assert mapping.clock.utcoffset(None) == timedelta(hours=1)
    assert mapping.stamp_at_end
    assert mapping.separator == "\t"
    assert mapping.missing == ("OVR", "***")


def test_a_head_may_hold_an_equals_sign():
    assert read_log_mapping(["time=t", "laeq=Leq (T=1 s)"]).levels == {"laeq": "Leq (T=1 s)"}


def test_a_file_says_the_same_and_options_win(tmp_path):
    path = tmp_path / "meter.toml"
    path.write_text('time = "Time"\nLAeq = "Level"\nstep_s = 1\n"31.5" = "B"\n', "utf-8")
    mapping = read_log_mapping(["laeq=Other"], path)
    assert mapping.named == {"time": "Time", "laeq": "Other", "31.5": "B"}
    assert mapping.step_s == 1.0


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        ([], "no column of levels"),
        (["time=Time"], "no column of levels"),
        (["laeq=LAeq"], "neither a time column nor start"),
        (["laeq=LAeq", "start=2026-01-14T23:00:00"], "neither a time column nor start"),
        ([*ENOUGH, "start=2026-01-14T23:00:00"], "both a time column and a start"),
        (["laeq=LAeq", "date=Date", "start=2026-01-14T23:00:00", "step_s=1"], "date column needs"),
        ([*ENOUGH, "laeq"], "KEY=COLUMN, got 'laeq'"),
        ([*ENOUGH, "lae=x"], "'lae' is neither a level"),
        ([*ENOUGH, "33=x"], "'33' is neither a level"),
        ([*ENOUGH, "lafmax="], "lafmax needs a value"),
        ([*ENOUGH, "lafmax=a\x1bb"], "printable"),
        ([*ENOUGH, "decimal=;"], "decimal must be"),
        ([*ENOUGH, "stamp=middle"], "stamp must be"),
        ([*ENOUGH, "separator=x"], "separator must be"),
        ([*ENOUGH, "step_s=0.05"], "step_s must be 0.1 to 900"),
        ([*ENOUGH, "step_s=1000"], "step_s must be 0.1 to 900"),
        ([*ENOUGH, "step_s=nan"], "step_s must be 0.1 to 900"),
        ([*ENOUGH, "step_s=a minute"], "step_s must be 0.1 to 900"),
        ([*ENOUGH, "clock=CET"], "clock must be UTC or an offset"),
        ([*ENOUGH, "clock=+15:00"], "clock must be UTC or an offset"),
        ([*ENOUGH, "encoding=klingon"], "no text encoding 'klingon'"),
        ([*ENOUGH, "encoding=hex"], "no text encoding 'hex'"),
        ([*ENOUGH, "bands=LZeq"], "must hold {hz}"),
    ],
)
def test_what_makes_no_sense_is_refused(options, complaint):
    with pytest.raises(SettingsError) as caught:
        read_log_mapping(options)
    assert complaint in caught.value.complaint
    assert caught.value.remedy


@pytest.mark.parametrize(
    "text",
    ["laeq = ", "31.5 = 'B'", "laeq = true", "laeq = ['a']", "x" * 100_001, "a = " + "[" * 5000, "\x00"],
)
def test_a_file_that_is_no_mapping_is_refused(tmp_path, text):
    path = tmp_path / "meter.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(SettingsError, match=r"meter\.toml"):
        read_log_mapping([], path)


def test_a_mapping_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(SettingsError, match="cannot be read"):
        read_log_mapping([], tmp_path / "none.toml")
    with pytest.raises(SettingsError, match="cannot be read"):
        read_log_mapping([], tmp_path)


def test_a_time_format_that_names_a_part_twice_is_refused():
    with pytest.raises(SettingsError, match=r"time_format cannot be used .* '%d\.%m\.%Y %Y'"):
        read_log_mapping([*ENOUGH, "time_format=%d.%m.%Y %Y"])


def test_a_mapping_that_is_no_plain_file_is_refused(tmp_path):
    with pytest.raises(SettingsError, match="it is no plain file"):
        read_log_mapping(path=tmp_path)
