"""Every constant number says where it comes from: a document ("Source:") or a choice of ours ("Chosen:")."""

import ast
from pathlib import Path

import pytest

import sleepnoise

MODULES = sorted(Path(sleepnoise.__file__).parent.rglob("*.py"))


def orphans(tree):
    """Names of module-level capital numbers whose docstring has neither word."""
    following = [*tree.body[1:], None]
    for statement, after in zip(tree.body, following, strict=True):
        for name in _capital_names(statement):
            if _holds_number(statement.value) and not _says_where_from(after):
                yield name


def _capital_names(statement):
    targets = statement.targets if isinstance(statement, ast.Assign) else [getattr(statement, "target", None)]
    if getattr(statement, "value", None) is None:
        return
    for target in targets:
        for name in target.elts if isinstance(target, ast.Tuple) else [target]:
            if isinstance(name, ast.Name) and name.id.isupper():
                yield name.id


def _holds_number(node):
    """Whether an expression is made of numbers: alone, in sums, in collections, or in a call."""
    match node:
        case ast.Constant(value=value):
            return isinstance(value, int | float | complex) and not isinstance(value, bool)
        case ast.Call() if _explains_itself(node):
            return False
        case ast.Call(args=arguments, keywords=keywords):
            return any(map(_holds_number, (*arguments, *(each.value for each in keywords))))
        case ast.UnaryOp() | ast.BinOp() | ast.Tuple() | ast.List() | ast.Set() | ast.Dict():
            return any(map(_holds_number, ast.iter_child_nodes(node)))
    return False


def _explains_itself(call):
    """Whether a call carries its source with it, or is a unit of time such as one hour."""
    values = {each.arg: each.value for each in call.keywords}
    match call.func, list(values.values()):
        case ast.Name(id="timedelta"), [ast.Constant(value=1)]:
            return True
    return "source" in values


def _says_where_from(statement):
    match statement:
        case ast.Expr(value=ast.Constant(value=str(text))):
            return "Source:" in text or "Chosen:" in text
    return False


@pytest.mark.parametrize("path", MODULES, ids=lambda path: "/".join(path.parts[-2:]))
def test_every_constant_number_says_where_it_comes_from(path):
    assert list(orphans(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize(
    "text",
    [
        "LIMIT_DB = 3",
        "LIMIT_DB = -3.0",
        "LIMIT_DB: float = 3.0",
        "_LIMIT_DB = 3",
        'LIMIT_DB = 3\n"""Three."""',
        "LIMIT_DB = 3\n# Chosen: but in a comment",
        'LIMIT_DB = 3\nx = 1\n"""Chosen: for another."""',
        "EDGES_HZ = (20.0, 25.0)",
        "EDGES_HZ = [(1, 'a')]",
        "LOSS_DB = {'door': 20}",
        "NIGHT_S = 8 * 3600",
        "G = 10**0.3",
        "TICK = timedelta(milliseconds=125)",
        "TABLE = np.array([1.0, 2.0])",
        "A_DB, B_DB = 1, 2",
    ],
)
def test_an_orphan_is_seen(text):
    assert list(orphans(ast.parse(text)))


@pytest.mark.parametrize(
    "text",
    [
        'LIMIT_DB = 3\n"""Limit. Source: an invented document."""',
        'LIMIT_DB: float = 3\n"""Limit, dB. Chosen: because."""',
        "NAMES = ('a', 'b')",
        "SYMBOLS = {'a': make('a')}",
        "FAST = True",
        "_HOUR = timedelta(hours=1)",
        "RULE = BackgroundRule(limit_db=6.0, source=ISO_16283_1)",
        "limit_db = 3",
        "T = TypeVar('T')",
        "def f():\n    LIMIT_DB = 3",
        "WINDOW: float",
    ],
)
def test_what_is_no_orphan_is_left_alone(text):
    assert list(orphans(ast.parse(text))) == []
