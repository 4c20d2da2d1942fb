"""Small planning problems and small knowledge, built from plain numbers."""

from collections.abc import Mapping, Sequence

import numpy as np

from symptomtree.kb.compile import KnowledgeBase, compile_entries
from symptomtree.kb.model import Cause, Entries, Fix, Number, Part, Symptom
from symptomtree.reasoning.decide import Look, Problem

NEVER = 1e6
"""What a trip costs when nobody would make it."""


def problem(
    need: Sequence[Sequence[int]],
    cost: Sequence[float],
    access: Sequence[int] = (),
    parent: Sequence[int] = (),
    opening: Sequence[float] = (),
    looks: Sequence[Look] = (),
    trip: float = NEVER,
) -> Problem:
    """Return a problem of fixes that always work; `need` has a row per scenario."""
    return Problem(
        need=np.array(need, dtype=bool),
        fix_cost=np.array(cost, dtype=float),
        fix_access=np.array(access if len(access) else [-1] * len(cost), dtype=np.int64),
        fix_fails=np.zeros(len(cost)),
        looks=tuple(looks),
        parent=np.array(parent, dtype=np.int64),
        opening=np.array(opening, dtype=float),
        trip=trip,
    )


def yes_or_no(cost: float, yes: Sequence[float], access: int = -1) -> Look:
    """Return a question with the chance of a yes in each scenario."""
    return Look(cost, access, np.array([yes, [1 - p for p in yes]]))


def number(p: float) -> Number:
    return Number(p=p, source="from-memory")


def knowledge(
    causes: Mapping[str, tuple[float, Mapping[str, float], str]],
    fixes: Mapping[str, float],
    symptoms: Mapping[str, tuple[float, float]],
) -> KnowledgeBase:
    """Return knowledge of yes/no symptoms.

    Args:
        causes: name -> (how common, symptom -> how often it makes it, its fix).
        fixes: name -> minutes; they all work.
        symptoms: name -> (leak, minutes to ask).
    """
    return compile_entries(
        Entries(
            parts={"bike": Part(name="bike")},
            causes={
                name: Cause(
                    name=name,
                    part="bike",
                    mechanism="Made up.",
                    common=number(common),
                    shows={symptom: number(p) for symptom, p in shows.items()},
                    confirm="none",
                    fixes=[fix],
                    danger="none",
                )
                for name, (common, shows, fix) in causes.items()
            },
            fixes={
                name: Fix(name=name, kind="adjust", steps=["Do it."], minutes=minutes, works=number(1.0), retest=[])
                for name, minutes in fixes.items()
            },
            symptoms={
                name: Symptom(
                    part="bike",
                    name=name,
                    ask="Is it?",
                    grades={"no": "no", "yes": "yes"},
                    leak=number(leak),
                    minutes=minutes,
                )
                for name, (leak, minutes) in symptoms.items()
            },
        ),
        "small",
    )
