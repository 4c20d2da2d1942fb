"""Belief's model built again in two other ways, to check `infer` against: a plain sum over everything that can be, and
a network for pyAgrum's exact engine. Neither shares code or method with the lattice that `infer` runs on."""

from collections.abc import Iterator, Sequence
from itertools import product
from math import log

import numpy as np
import pyagrum as gum

from symptomtree.reasoning.belief import Model
from symptomtree.reasoning.evidence import Array, Look, Observed, Repair

WIDE = 7
"""Parents up to which a noisy-OR is given to pyAgrum as one gate; more are chained, or its table would be too big."""


def random_model(
    random: np.random.Generator,
    causes: int,
    findings: int,
    grades: int = 2,
    links: tuple[int, int] = (2, 4),
    prior: tuple[float, float] = (0.01, 0.4),
    leak: tuple[float, float] = (0.005, 0.1),
) -> Model:
    """Return a model in which each cause touches `links` findings at random."""
    reach = np.ones((causes, findings, grades))
    for row in reach:
        count = int(random.integers(links[0], links[1] + 1))
        for f in random.choice(findings, min(count, findings), replace=False):
            row[f] = _levels(random, float(random.uniform(0.1, 0.95)), grades)
    leaks = np.array([_levels(random, float(random.uniform(*leak)), grades) for _ in range(findings)])
    return Model(random.uniform(*prior, causes), reach, leaks)


def _levels(random: np.random.Generator, above: float, grades: int) -> Array:
    """Return P(level <= g) with P(level > 0) = `above`."""
    return np.cumsum([1 - above, *(above * random.dirichlet(np.ones(grades - 1)))]).clip(0, 1)


def sure(finding: int, grade: int, grades: int = 2, after: int = 0) -> Observed:
    """Return a finding looked at once and seen in one grade for sure."""
    return Observed(finding, (Look(after, np.eye(grades)[grade]),))


def happening(
    model: Model, random: np.random.Generator, asked: dict[int, Sequence[int]], repairs: Sequence[Repair] = ()
) -> list[Observed]:
    """Draw a bike, do the repairs on it, and return what is seen when `asked`: finding -> after how many repairs."""
    gone = np.full(len(model.prior), len(repairs) + 1)  # number of the repair that took the cause away
    gone[random.random(len(gone)) >= model.prior] = 0
    for repair in repairs:
        for cause in repair.causes:
            if gone[cause] > repair.number and random.random() < repair.works:
                gone[cause] = repair.number
    out = []
    for f, times in asked.items():
        level = (random.random(len(gone))[:, None] > model.reach[:, f]).sum(axis=1)
        leak = int((random.random() > model.leak[f]).sum())
        grades = model.leak.shape[1]
        seen = [max([leak, *level[gone > after]]) for after in times]
        out.append(Observed(f, tuple(Look(a, np.eye(grades)[x]) for a, x in zip(times, seen, strict=True))))
    return out


def plain_sum(
    model: Model, observed: Sequence[Observed], repairs: Sequence[Repair] = ()
) -> tuple[Array, Array, float, dict[tuple[int, ...], float]]:
    """Add up every set of causes, every way the repairs can turn out, and every level of every mechanism.

    Returns:
        `now`, `ever` and `log_evidence` as in `Belief`; set of causes there now -> posterior.
    """
    joint: dict[tuple[int, ...], float] = {}
    ever = np.zeros(len(model.prior))
    for until, prior in _histories(model, repairs):
        chance = prior
        for o in observed:
            if chance > 0:
                chance *= _likelihood(model, o, until)
        there = tuple(np.flatnonzero(until > len(repairs)).tolist())
        joint[there] = joint.get(there, 0.0) + chance
        ever += chance * (until > 0)
    evidence = sum(joint.values())
    sets = {causes: chance / evidence for causes, chance in joint.items()}
    now = np.array([sum(p for causes, p in sets.items() if c in causes) for c in range(len(model.prior))])
    return now, ever / evidence, log(evidence), sets


def _histories(model: Model, repairs: Sequence[Repair]) -> Iterator[tuple[Array, float]]:
    """Yield (number of the repair that took each cause away; 0 never there, past the last still there), probability."""
    last = len(repairs) + 1
    options = []
    for cause, prior in enumerate(model.prior.tolist()):
        mine, left = [(0, 1 - prior)], prior
        for repair in repairs:
            if cause in repair.causes:
                mine.append((repair.number, left * repair.works))
                left *= 1 - repair.works
        options.append([*mine, (last, left)])
    for pick in product(*options):
        yield np.array([number for number, _ in pick]), float(np.prod([chance for _, chance in pick]))


def _likelihood(model: Model, o: Observed, until: Array) -> float:
    """Add up all levels of all mechanisms of one finding."""
    pushes = [(np.diff(model.leak[o.finding], prepend=0), 10**6)]
    for cause in np.flatnonzero(until):
        if (model.reach[cause, o.finding] < 1).any():
            pushes.append((np.diff(model.reach[cause, o.finding], prepend=0), int(until[cause])))
    total = 0.0
    for levels in product(*(np.flatnonzero(p > 0).tolist() for p, _ in pushes)):
        chance = float(np.prod([p[level] for level, (p, _) in zip(levels, pushes, strict=True)]))
        for look in o.looks:
            at_work = [level for level, (_, last) in zip(levels, pushes, strict=True) if last > look.after]
            chance *= float(look.weights[max(at_work)] / look.weights.max())
        total += chance
    return total


class Network:
    """The same model for pyAgrum: a node per cause, and per finding a noisy-OR gate or a chain of noisy maxima.

    Only the findings that were looked at are built: all others are barren. Repairs add nodes for 'still there after
    it', and a mechanism that several looks share is a node of its own.
    """

    def __init__(self, model: Model, observed: Sequence[Observed], repairs: Sequence[Repair] = ()) -> None:
        self.net = gum.BayesNet()
        self.model = model
        self.evidence: dict[str, list[float]] = {}
        self.causes = [self._node(f"c{n}", 2, (), [1 - p, p]) for n, p in enumerate(model.prior.tolist())]
        self.there: list[dict[int, str]] = [{0: name} for name in self.causes]  # after that many repairs
        for repair in repairs:
            for cause in repair.causes:
                before = self.there[cause][max(self.there[cause])]
                stays = [[1.0, 0.0], [repair.works, 1 - repair.works]]
                name = self._node(f"c{cause}r{repair.number}", 2, (before,), stays)
                self.there[cause][repair.number] = name
        for o in observed:
            self._finding(o)
        self.engine = gum.LazyPropagation(self.net)
        self.engine.setTargets({*self.causes, *(t[max(t)] for t in self.there)})

    def infer(self) -> None:
        """Work out the posterior of every cause."""
        self.engine.setEvidence(self.evidence)
        self.engine.makeInference()

    def posterior(self) -> tuple[Array, Array, float]:
        """Return `now`, `ever` and `log_evidence` as in `Belief`."""
        self.infer()
        ever = np.array([self.engine.posterior(name)[1] for name in self.causes])
        now = np.array([self.engine.posterior(t[max(t)])[1] for t in self.there])
        return now, ever, log(self.engine.evidenceProbability())

    def _node(self, name: str, states: int, parents: Sequence[str], table: object) -> str:
        """Add a node; `table` has the parents in their order, then its own states."""
        self.net.add(gum.LabelizedVariable(name, name, states))
        for parent in parents:
            self.net.addArc(parent, name)
        # pyAgrum keeps the node itself first and wants the last of its variables outermost.
        turned = np.transpose(np.asarray(table, dtype=float), (*reversed(range(len(parents))), len(parents)))
        self.net.cpt(name)[:] = np.ascontiguousarray(turned)
        return name

    def _finding(self, o: Observed) -> None:
        f, grades = o.finding, self.model.leak.shape[1]
        parents = np.flatnonzero((self.model.reach[:, f] < 1).any(axis=1)).tolist()
        if len(o.looks) == 1 and o.looks[0].after == 0:
            last = f"f{f}"
            if grades == 2 and len(parents) <= WIDE:
                self.net.addNoisyORNet(gum.LabelizedVariable(last, last, 2), float(1 - self.model.leak[f, 0]))
                for c in parents:
                    self.net.addWeightedArc(self.causes[c], last, float(1 - self.model.reach[c, f, 0]))
            else:
                last = self._node(f"f{f}leak", grades, (), np.diff(self.model.leak[f], prepend=0))
                for c in parents:
                    last = self._node(f"f{f}c{c}", grades, (last, self.causes[c]), self._noisy_max(c, f))
            self.evidence[last] = (o.looks[0].weights / o.looks[0].weights.max()).tolist()
            return
        leak = self._node(f"f{f}leak", grades, (), np.diff(self.model.leak[f], prepend=0))
        mechanism = {c: self._node(f"f{f}m{c}", grades, (self.causes[c],), self._noisy_max(c, f)[0]) for c in parents}
        for n, look in enumerate(o.looks):
            last = leak
            for c in parents:
                there = self.there[c][max(k for k in self.there[c] if k <= look.after)]
                table = np.zeros((grades, grades, 2, grades))
                for so_far, level in product(range(grades), repeat=2):
                    table[so_far, level, 0, so_far] = 1
                    table[so_far, level, 1, max(so_far, level)] = 1
                last = self._node(f"f{f}l{n}c{c}", grades, (last, mechanism[c], there), table)
            self.evidence[last] = (look.weights / look.weights.max()).tolist()

    def _noisy_max(self, cause: int, finding: int) -> Array:
        """Return (G so far, 2 absent or present, G) P(greatest so far with this cause)."""
        grades = self.model.leak.shape[1]
        level = np.diff(self.model.reach[cause, finding], prepend=0)
        table = np.zeros((grades, 2, grades))
        for so_far in range(grades):
            table[so_far, 0, so_far] = 1
            for g, p in enumerate(level.tolist()):
                table[so_far, 1, max(so_far, g)] += p
        return table
