"""Knowledge that is wrong by up to a factor: how gracefully does the advice degrade?"""

from dataclasses import replace

import numpy as np

from symptomtree.kb.compile import Array, KnowledgeBase


def perturbed(kb: KnowledgeBase, random: np.random.Generator, factor: float = 2.0) -> KnowledgeBase:
    """Return the knowledge with the odds of each prior, link and leak off by a factor of its own.

    The factor is `factor` to a power drawn evenly from -1 to 1. A link or leak has one for all its grades, so a worse
    grade stays no likelier than a milder one; what is certain or impossible stays so.
    """

    def off(*shape: int) -> Array:
        return factor ** random.uniform(-1, 1, shape)

    causes, findings, _ = kb.reach.shape
    prior = _odds_times(kb.prior, off(causes))
    reach = 1 - _odds_times(1 - kb.reach, off(causes, findings, 1))
    leak = 1 - _odds_times(1 - kb.leak, off(findings, 1))
    for array in (prior, reach, leak):
        array.flags.writeable = False
    return replace(kb, prior=prior, reach=reach, leak=leak)


def _odds_times(p: Array, factor: Array) -> Array:
    out: Array = p * factor / (1 - p + p * factor)
    return out
