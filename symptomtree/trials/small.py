"""Random problems small enough to be solved exactly, to hold the planner against."""

from dataclasses import dataclass
from itertools import product

import numpy as np

from symptomtree.reasoning.decide import Array, Look, Problem, Standing, start

CHANCES = (0.05, 0.1, 0.3, 0.7, 0.9, 0.95)
NEVER = 1e4  # a trip so dear that nobody hands over


@dataclass(frozen=True, slots=True)
class Shape:
    """How large a random problem is.

    Attributes:
        causes: each with a fix of its own.
        looks: with two outcomes each.
        clusters: access states side by side; a quarter of the looks and half of the fixes lie in them.
        several: more than one cause at a time can be there, and handing over can pay.
    """

    causes: int
    looks: int
    clusters: int
    several: bool = False


def small(random: np.random.Generator, shape: Shape) -> tuple[Problem, Standing]:
    """Draw a problem, and where the work on it starts."""
    causes, clusters = shape.causes, shape.clusters
    if shape.several:
        need = np.array(list(product([False, True], repeat=causes))[1:])
        chance = random.uniform(0.05, 0.5, causes)
        weights: Array = np.where(need, chance, 1 - chance).prod(axis=1)
        weights /= weights.sum()  # something is wrong, or the bike would not be here
        trip = random.uniform(10, 40)
    else:
        need, weights, trip = np.eye(causes, dtype=bool), random.dirichlet(np.ones(causes)), NEVER
    inside = np.where(random.random(causes) < 0.5, random.integers(0, max(clusters, 1), causes), -1)
    looks = []
    for _ in range(shape.looks):
        yes = random.choice(CHANCES, causes)
        likely = 1 - np.where(need, 1 - yes, 1).prod(axis=1)  # each cause that is there can bring about the yes
        access = int(random.integers(clusters)) if clusters and random.random() < 0.25 else -1
        looks.append(Look(random.uniform(1, 5), access, np.stack([likely, 1 - likely])))
    problem = Problem(
        need=need,
        fix_cost=random.uniform(1, 10, causes),
        fix_access=inside if clusters else np.full(causes, -1),
        fix_fails=np.zeros(causes),
        looks=tuple(looks),
        parent=np.full(clusters, -1),
        opening=random.uniform(3, 15, clusters),
        trip=trip,
    )
    return problem, start(problem, weights)
