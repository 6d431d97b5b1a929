"""The words that a page uses, explained on it."""

import re

from sleepnoise.acoustics.symbols import SYMBOLS
from sleepnoise.report.contents import sections_of
from sleepnoise.wording.explanations import page
from sleepnoise.wording.words_used import ALSO, meaning_in_short, words_table


def explained(sections, reader):
    [section] = [each for each in sections if each.title == "Words on this page" and reader in each.readers]
    return {word for words, _ in section.tables[0].rows for word in words.split(", ")}


def test_only_words_that_are_used_are_explained_whole_and_in_one_sentence():
    table = words_table(["LA10 and LAFmax", "cannot tell", "xLAeqx, unkept"])
    assert [row[0] for row in table.rows] == ["LAFmax", "LA10", "cannot tell"]
    assert (
        table.rows[1][1]
        == "The level exceeded one tenth of the time: how loud the louder part of the night is."
    )
    assert not any(". " in meaning for _, meaning in table.rows)


def test_every_spelling_leads_to_the_word_that_is_shown():
    for key, spellings in ALSO.items():
        for spelling in spellings:
            assert (spellings[0], meaning_in_short(page(key))) in words_table([f"the {spelling}, here"]).rows


def test_every_level_symbol_on_the_page_is_explained_to_each_reader(record, uncalibrated):
    symbols = re.compile(rf"(?<!\w)({'|'.join(symbol.text for symbol in SYMBOLS.values())})(?!\w)")
    for night in (record, uncalibrated):
        sections = sections_of(night)
        for reader in ("resident", "consultant"):
            said = " ".join(
                str((each.sentences, each.points, each.notes, each.tables))
                for each in sections
                if reader in each.readers
            )
            used = set(symbols.findall(said))
            assert len(used) > 4
            assert used <= explained(sections, reader)


def test_full_scale_is_explained_only_where_it_is_used(record, uncalibrated):
    assert "full scale" in explained(sections_of(uncalibrated), "resident")
    assert "full scale" not in explained(sections_of(record), "resident")
