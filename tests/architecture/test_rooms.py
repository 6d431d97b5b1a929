"""Rooms stay small and readable. Chosen: the sizes at which code that reads well stops growing."""

import ast
import re
from pathlib import Path

import pytest

import sleepnoise

ROOT = Path(sleepnoise.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))
ROOMS = sorted(path.parent for path in ROOT.glob("*/__init__.py"))

LONGEST_MODULE = 400
LONGEST_BODY = 40
MOST_MODULES = 12
MOST_SUBJECTS = 30  # Each command, and each subject in words or on a screen, has a module of its own.
MOST_PUBLIC_NAMES = 15
NO_ROOMS = {"utils", "util", "helpers", "helper", "core", "common", "base", "misc", "lib", "shared"}


def name_of(path):
    return "/".join(path.relative_to(ROOT.parent).parts)


def tree_of(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def functions(tree):
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


def body_lines(function):
    """Lines from the first statement after the docstring to the last."""
    statements = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return statements[-1].end_lineno - statements[0].lineno + 1 if statements else 0


def public_names(tree):
    """Functions and classes that a module offers; constants explain themselves where they stand."""
    defined = (each for each in tree.body if isinstance(each, ast.FunctionDef | ast.ClassDef))
    return [each.name for each in defined if not each.name.startswith("_")]


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_a_room_says_in_one_sentence_what_it_knows_and_does_nothing_else(room):
    tree = tree_of(room / "__init__.py")
    sentence = ast.get_docstring(tree) or ""
    assert re.fullmatch(r"[A-Z][^\n]+\.", sentence)
    assert ". " not in sentence
    assert len(tree.body) == 1


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_a_room_holds_no_rooms_and_few_modules(room):
    assert [path.parent for path in room.rglob("*.py") if path.parent != room] == []
    most = MOST_SUBJECTS if room.name in ("cli", "wording", "screens", "report") else MOST_MODULES
    assert len(list(room.glob("*.py"))) - 1 <= most


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_is_named_after_what_it_holds(path):
    assert path.stem not in NO_ROOMS
    assert path.parent.name not in NO_ROOMS


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_is_short_and_says_what_it_is_for(path):
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= LONGEST_MODULE
    assert ast.get_docstring(ast.parse(text))


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_function_fits_on_a_screen(path):
    long = {
        each.name: body_lines(each) for each in functions(tree_of(path)) if body_lines(each) > LONGEST_BODY
    }
    assert long == {}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_offers_few_names(path):
    assert len(public_names(tree_of(path))) <= MOST_PUBLIC_NAMES


def test_the_package_offers_few_names_and_every_one_of_them_exists():
    assert len(sleepnoise.__all__) <= MOST_PUBLIC_NAMES
    for name in sleepnoise.__all__:
        assert getattr(sleepnoise, name) is not None


def test_half_of_all_functions_are_short():
    lengths = sorted(body_lines(each) for path in MODULES for each in functions(tree_of(path)))
    assert lengths[len(lengths) // 2] <= 11


def test_lengths_are_counted_without_the_docstring():
    one = 'def f():\n    """Text.\n\n    More.\n    """\n    x = 1\n\n    return x\n'
    assert [body_lines(each) for each in functions(ast.parse(one))] == [3]
    assert [body_lines(each) for each in functions(ast.parse('def f():\n    """Text."""\n'))] == [0]
