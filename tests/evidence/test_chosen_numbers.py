from sleepnoise.evidence.chosen_numbers import _chosen_in, chosen_numbers


def test_every_chosen_number_of_the_measuring_rooms_is_listed_with_its_reason() -> None:
    found = {(each.where, each.name): each for each in chosen_numbers()}
    assert found["levels/history", "TICKS_PER_SECOND"].value == "8"
    assert "one F time constant" in found["levels/history", "TICKS_PER_SECOND"].reason
    assert len(found) > 100
    assert {where.partition("/")[0] for where, _ in found} >= {"recording", "levels", "night", "planning"}


def test_what_a_source_fixes_is_not_among_them() -> None:
    text = (
        'A_DB = 3\n"""Chosen: because\n    of this."""\nB_DB = 4\n"""Source: a document."""\nC = 5\nx = 1\n'
    )
    [only] = _chosen_in(text, "room/module")
    assert (only.name, only.value, only.reason) == ("A_DB", "3", "Chosen: because of this.")


def test_code_is_no_value() -> None:
    text = 'A_DB = tuple(range(3))\n"""Chosen: so."""\nB_S = 10 * 60\n"""Chosen: so."""\n'
    assert [each.value for each in _chosen_in(text, "room/module")] == ["worked out", "10 * 60"]
