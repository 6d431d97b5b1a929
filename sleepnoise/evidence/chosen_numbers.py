"""The numbers that we chose ourselves, each with its reason, read from the code that uses them."""

import ast
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise

MEASURING_ROOMS = ("recording", "levels", "night", "judgement", "masking", "hearing", "planning")
"""Rooms whose choices shape a result; others only shape what it looks like."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenNumber:
    """One number of our own.

    Attributes
    ----------
    name, value : str
        As in the code.
    reason : str
        What it is and why.
    where : str
        Room and module.
    """

    name: str
    value: str
    reason: str
    where: str


@lru_cache
def chosen_numbers() -> tuple[ChosenNumber, ...]:
    """Return every number of the measuring rooms that says "Chosen:", by room and module."""
    found: list[ChosenNumber] = []
    for room in MEASURING_ROOMS:
        modules = sorted(
            (each for each in (files("sleepnoise") / room).iterdir() if each.name.endswith(".py")),
            key=lambda module: module.name,
        )
        for module in modules:
            where = f"{room}/{module.name.removesuffix('.py')}"
            found += _chosen_in(module.read_text(encoding="utf-8"), where)
    return tuple(found)


def _value_text(value: ast.expr) -> str:
    """Return a number or a sum as it stands; a program's own words are for nobody who reads a report."""
    worked_out = any(isinstance(node, ast.Call) for node in ast.walk(value))
    return "worked out" if worked_out else ast.unparse(value)


def _chosen_in(text: str, where: str) -> list[ChosenNumber]:
    body = ast.parse(text).body
    return [
        ChosenNumber(name=name.id, value=_value_text(value), reason=re.sub(r"\s+", " ", reason), where=where)
        for statement, following in pairwise(body)
        for name, value, reason in [_named(statement, following)]
        if isinstance(name, ast.Name) and "Chosen:" in reason
    ]


def _named(statement: ast.stmt, following: ast.stmt) -> tuple[ast.expr | None, ast.expr, str]:
    """Return name, value and the text below a constant; no name if it is none."""
    match statement, following:
        case (
            ast.Assign(targets=[name], value=value),
            ast.Expr(value=ast.Constant(value=str(reason))),
        ):
            return name, value, reason
    return None, ast.Constant(value=None), ""
