"""Many simulated bikes, each worked by every policy; spread over processes, or over a cluster.

Each bike has a stream of chance of its own, so the results do not depend on who works which bike, nor in what order.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import joblib
import numpy as np

from symptomtree.kb.compile import KnowledgeBase, open_knowledge
from symptomtree.reasoning.assess import Adviser
from symptomtree.reasoning.costs import Profile
from symptomtree.reasoning.planning import cheapest_way
from symptomtree.trials import CannotTry
from symptomtree.trials.baselines import baselines
from symptomtree.trials.bikes import Bench, draw
from symptomtree.trials.known import known_cost
from symptomtree.trials.session import Session, work
from symptomtree.trials.wrong import perturbed

ADVISER = "the adviser"
WRONG = "the adviser, knowledge wrong by up to 2"
WRONGS = 8
"""How many wrong versions of the knowledge there are; bikes take them in turn."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What is tried.

    Attributes:
        folder: of the knowledge, None for what ships.
        digest: of the knowledge that is meant; whoever opens another refuses.
        number: decides all chance.
        bikes: how many.
        compare: whether the rules of thumb and the wrong knowledge are tried on the same bikes.
    """

    folder: Path | None
    digest: str
    number: int
    bikes: int
    compare: bool = True


@dataclass(frozen=True, slots=True)
class Worked:
    """One bike, by every policy.

    Attributes:
        number: of the bike, from 0.
        sessions: policy -> how it went.
        floor: what it would have cost someone who knows what is wrong.
    """

    number: int
    sessions: dict[str, Session]
    floor: float


def run(trial: Trial, jobs: int = 1, scheduler: str | None = None) -> Iterator[Worked]:
    """Yield each bike as it is done, in any order.

    Args:
        jobs: how many processes; a cluster has its own.
        scheduler: address of the scheduler of a Dask cluster whose workers have the same program and knowledge.
    Raises:
        CannotTry: the cluster cannot be reached, or a worker found other knowledge.
    """
    with _cluster(scheduler):
        tasks = (joblib.delayed(work_bike)(trial, n) for n in range(trial.bikes))
        yield from joblib.Parallel(n_jobs=-1 if scheduler else jobs, return_as="generator_unordered")(tasks)


@contextmanager
def _cluster(scheduler: str | None) -> Iterator[None]:
    if scheduler is None:
        yield
        return
    try:
        from distributed import Client  # noqa: PLC0415 - an extra that only a cluster needs
    except ImportError as error:
        raise CannotTry("a cluster needs more than is installed; pip install 'symptomtree[cluster]'") from error
    try:
        client = Client(scheduler)
    except (OSError, ValueError) as error:
        raise CannotTry(f"{scheduler}: no scheduler answers ({error}); give the address that it printed") from error
    with client, joblib.parallel_config("dask", client=client):
        yield


def work_bike(trial: Trial, number: int) -> Worked:
    """Draw one bike and let every policy work it."""
    right = _adviser(trial.folder, trial.digest, trial.number, None)
    kb = right.knowledge
    random = np.random.default_rng(np.random.SeedSequence(trial.number, spawn_key=(0, number)))
    bike = draw(kb, random)
    profile = Profile()
    sessions = {ADVISER: work(right, Bench(kb, bike), profile, cheapest_way)}
    if trial.compare:
        wrong = _adviser(trial.folder, trial.digest, trial.number, number % WRONGS)
        sessions[WRONG] = work(wrong, Bench(kb, bike), profile, cheapest_way)
        for name, rank in baselines(kb, bike.luck).items():
            sessions[name] = work(right, Bench(kb, bike), profile, rank)
    return Worked(number, sessions, known_cost(kb, Bench(kb, bike), profile))


@lru_cache(maxsize=WRONGS + 1)
def _adviser(folder: Path | None, digest: str, number: int, wrong: int | None) -> Adviser:
    """Return an adviser; each process makes its own once, so that no knowledge travels with a bike."""
    kb = _knowledge(folder)
    if kb.digest != digest:
        raise CannotTry(f"{folder or 'the knowledge that ships'} has changed, or differs between machines; start again")
    if wrong is not None:
        kb = perturbed(kb, np.random.default_rng(np.random.SeedSequence(number, spawn_key=(1, wrong))))
    return Adviser(kb)


@lru_cache(maxsize=1)
def _knowledge(folder: Path | None) -> KnowledgeBase:
    return open_knowledge(folder)
