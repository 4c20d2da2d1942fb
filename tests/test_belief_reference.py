"""Belief against engines that others wrote, and against worked examples that others published.

pyAgrum works by lazy propagation in a junction tree (Madsen and Jensen, Artificial Intelligence 113, 1999), pgmpy by
eliminating variables, `infer` by sweeping a lattice. That they agree to 1e-9 is the check.
"""

from collections.abc import Sequence

import numpy as np
import pyagrum as gum
import pytest
from networks import Network, happening, random_model, sure
from pgmpy.factors.discrete import NoisyORCPD, TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork

from symptomtree.reasoning.belief import Model, infer
from symptomtree.reasoning.evidence import Look, Observed, Repair

CLOSE = 1e-9


def model_of(prior: Sequence[float], links: Sequence[Sequence[float]], leak: Sequence[float]) -> Model:
    """Return a model of yes/no findings; `links` has a row per cause."""
    yes = np.array(links, dtype=float)
    return Model(
        np.array(prior, dtype=float),
        np.stack([1 - yes, np.ones_like(yes)], axis=2),
        np.stack([1 - np.array(leak), np.ones(len(leak))], axis=1),
    )


def chance(model: Model, *seen: Observed) -> float:
    """Return the probability of what was seen."""
    return float(np.exp(infer(model, seen).log_evidence))


def assert_agrees(model: Model, observed: Sequence[Observed], repairs: Sequence[Repair] = ()) -> None:
    belief = infer(model, observed, repairs)
    now, ever, log_evidence = Network(model, observed, repairs).posterior()
    np.testing.assert_allclose(belief.now, now, rtol=0, atol=CLOSE)
    np.testing.assert_allclose(belief.ever, ever, rtol=0, atol=CLOSE)
    assert belief.log_evidence == pytest.approx(log_evidence, abs=CLOSE)
    assert belief.error == 0


# --- other engines -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("abnormal", [0, 1, 2, 5, 8, 11, 14])
@pytest.mark.parametrize("number", range(2))
def test_yes_or_no_findings_agree_with_pyagrum(abnormal: int, number: int) -> None:
    random = np.random.default_rng([abnormal, number])
    model = random_model(random, 60, 40, links=(1, 4), prior=(0.001, 0.1), leak=(0.001, 0.02))
    chosen = random.permutation(40)[: abnormal + 10].tolist()
    assert_agrees(model, [sure(f, int(n < abnormal)) for n, f in enumerate(chosen)])


@pytest.mark.parametrize("grades", [3, 4])
@pytest.mark.parametrize("number", range(4))
def test_graded_findings_agree_with_pyagrum(grades: int, number: int) -> None:
    random = np.random.default_rng([grades, number])
    model = random_model(random, 25, 14, grades, links=(1, 4))
    seen = [sure(f, int(random.integers(grades)), grades) for f in range(12)]
    assert_agrees(model, seen)


@pytest.mark.parametrize("number", range(4))
def test_readings_near_a_limit_agree_with_pyagrum(number: int) -> None:
    random = np.random.default_rng(number)
    model = random_model(random, 15, 8, 4)
    weights = [random.random(4) * (random.random(4) < 0.7) + np.eye(4)[random.integers(4)] for _ in range(7)]
    assert_agrees(model, [Observed(f, (Look(0, w),)) for f, w in enumerate(weights)])


@pytest.mark.parametrize("grades", [2, 3])
@pytest.mark.parametrize("number", range(6))
def test_looks_before_and_after_repairs_agree_with_pyagrum(grades: int, number: int) -> None:
    random = np.random.default_rng([grades, number])
    model = random_model(random, 10, 6, grades, links=(1, 3))
    repairs = [Repair(1, (0, 1, 2), 0.8), Repair(2, (2, 3), 0.6)]
    times = [[0], [0, 1], [0, 2], [1, 2], [0, 1, 2], [2]]
    assert_agrees(model, happening(model, random, dict(enumerate(times)), repairs), repairs)


def test_links_that_never_fail_and_findings_that_never_come_alone_agree_with_pyagrum() -> None:
    model = model_of([0.1, 0.2, 0.05], [[1, 0, 0.5], [0.4, 1, 0], [0, 0.3, 1]], [0, 0, 0])
    assert_agrees(model, [sure(0, 1), sure(1, 1), sure(2, 0)])
    assert_agrees(model, [sure(0, 1), sure(1, 1), sure(2, 1)])


@pytest.mark.parametrize("number", range(3))
def test_yes_or_no_findings_agree_with_pgmpy(number: int) -> None:
    random = np.random.default_rng(number)
    model = random_model(random, 6, 5, links=(1, 3))
    net = DiscreteBayesianNetwork()
    roots = {"leak": 1.0, **{f"c{c}": p for c, p in enumerate(model.prior.tolist())}}
    for name, p in roots.items():  # pgmpy's gate has no leak, so it is a parent that is always there
        net.add_node(name)
        net.add_cpds(TabularCPD(name, 2, [[p], [1 - p]], state_names={name: ["True", "False"]}))
    for f in range(5):
        causes = np.flatnonzero(model.reach[:, f, 0] < 1)
        parents = ["leak", *(f"c{c}" for c in causes)]
        net.add_edges_from((parent, f"f{f}") for parent in parents)
        net.add_cpds(NoisyORCPD(f"f{f}", [1 - model.leak[f, 0], *(1 - model.reach[causes, f, 0])], parents))
    seen = random.integers(2, size=5).tolist()
    told = {f"f{f}": ["False", "True"][x] for f, x in enumerate(seen)}
    engine = VariableElimination(net)
    expected = [
        engine.query([f"c{c}"], evidence=told, show_progress=False).get_value(**{f"c{c}": "True"}) for c in range(6)
    ]
    belief = infer(model, [sure(f, seen[f]) for f in range(5)])
    np.testing.assert_allclose(belief.now, expected, rtol=0, atol=CLOSE)


# --- published worked examples -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cold", "flu", "malaria", "fever"),
    [
        (0, 0, 0, 0.0),
        (0, 0, 1, 0.9),
        (0, 1, 0, 0.8),
        (0, 1, 1, 0.98),
        (1, 0, 0, 0.4),
        (1, 0, 1, 0.94),
        (1, 1, 0, 0.88),
        (1, 1, 1, 0.988),
    ],
)
def test_fever_of_cold_flu_and_malaria(cold: int, flu: int, malaria: int, fever: float) -> None:
    """Russell and Norvig, "Artificial Intelligence: A Modern Approach" (3rd ed. 2010), section 14.3: noisy-OR table."""
    model = model_of([cold, flu, malaria], [[0.4], [0.8], [0.9]], [0])
    assert chance(model, sure(0, 0)) == pytest.approx(1 - fever)
    if fever:
        assert chance(model, sure(0, 1)) == pytest.approx(fever)


@pytest.mark.parametrize(
    ("present", "expected"),
    [("1", "1/6"), ("2", "1/3"), ("3", "7/10"), ("12", "4/9"), ("13", "3/4"), ("23", "4/5"), ("123", "5/6")],
)
def test_noisy_or_in_fractions(present: str, expected: str) -> None:
    """A noisy-OR table of three causes as solved in a public course sheet of a cognitive science degree (2026)."""
    there = [float(str(n) in present) for n in (1, 2, 3)]
    above, below = map(int, expected.split("/"))
    assert chance(model_of(there, [[1 / 6], [1 / 3], [7 / 10]], [0]), sure(0, 1)) == pytest.approx(above / below)


@pytest.mark.parametrize(
    ("present", "expected"),
    [
        (["b2", "c1"], [0.05, 0.85, 0.10]),
        (["c1"], [0.1, 0.8, 0.1]),  # b1 is the state that does nothing
        (["b2", "c2"], [0.0, 0.1, 0.9]),  # derived from the same numbers: c2 never leaves the first grade to b2
    ],
)
def test_noisy_max_of_three_grades(present: list[str], expected: list[float]) -> None:
    """A noisy-MAX node from a public answer by the makers of a Bayesian network program (forum, no year); each state of
    a parent that does something is a cause here."""
    alone = {"b2": [0.5, 0.5, 0], "c1": [0.1, 0.8, 0.1], "c2": [0, 0.1, 0.9]}
    reach = np.array([[np.cumsum(levels)] for levels in alone.values()])
    model = Model(np.array([float(name in present) for name in alone]), reach, np.ones((1, 3)))
    for grade, p in enumerate(expected):
        if p:
            assert chance(model, sure(0, grade, 3)) == pytest.approx(p)


def test_the_leak_stands_outside_the_links() -> None:
    """Diez, "Parameter adjustment in Bayes networks: the generalized noisy OR-gate", UAI 1993, against Henrion, "Some
    practical issues in constructing belief networks", UAI 1987/1989, in which a link includes the leak.

    pyAgrum has a gate for each: its 'Net' is Diez's, its 'Compound' is Henrion's. A link given in Henrion's form is
    turned into ours by (link - leak) / (1 - leak).
    """
    leak, links = 0.1, (0.8, 0.6)
    henrion = [leak + (1 - leak) * link for link in links]
    assert henrion == pytest.approx([0.82, 0.64])
    net = gum.BayesNet()
    for name in ("a", "b"):
        net.add(gum.LabelizedVariable(name, name, 2))
    net.addNoisyORNet(gum.LabelizedVariable("diez", "", 2), leak)
    net.addNoisyORCompound(gum.LabelizedVariable("henrion", "", 2), leak)
    for name, link, with_leak in zip(("a", "b"), links, henrion, strict=True):
        net.addWeightedArc(name, "diez", link)
        net.addWeightedArc(name, "henrion", with_leak)
    for a, b, expected in ((0, 0, 0.1), (0, 1, 0.64), (1, 0, 0.82), (1, 1, 0.928)):
        ours = chance(model_of([a, b], [[links[0]], [links[1]]], [leak]), sure(0, 1))
        assert ours == pytest.approx(expected)
        assert net.cpt("diez")[{"a": a, "b": b}][1] == pytest.approx(expected)
        assert net.cpt("henrion")[{"a": a, "b": b}][1] == pytest.approx(expected)


def test_two_causes_together_explain_what_each_alone_does_not() -> None:
    """Derived, no publication: the numbers were found by listing all sixteen sets of causes by hand-written code before
    this project; `test_belief_exact` lists them again. The likeliest set needs two causes."""
    links = [[0.8, 0.6, 0, 0, 0], [0, 0.5, 0.7, 0, 0], [0.3, 0, 0.9, 0.4, 0], [0, 0, 0, 0.6, 0.5]]
    model = model_of([0.02, 0.05, 0.01, 0.10], links, [0.01, 0.02, 0.005, 0.03, 0.01])
    first = [sure(0, 1), sure(1, 1), sure(3, 0)]
    assert chance(model, *first) == pytest.approx(0.00947027, rel=1e-6)
    np.testing.assert_allclose(infer(model, first).now, [0.950698, 0.090113, 0.013883, 0.042553], atol=5e-7)
    second = [sure(0, 1), sure(1, 1), sure(2, 1), sure(4, 0)]
    assert chance(model, *second) == pytest.approx(0.000837398, rel=1e-6)
    belief = infer(model, second, samples=40_000, seed=1)
    np.testing.assert_allclose(belief.now, [0.662638, 0.789004, 0.249593, 0.052632], atol=5e-7)
    kinds, counts = np.unique(belief.sets(), axis=0, return_counts=True)
    order = np.argsort(-counts)
    assert [np.flatnonzero(kinds[n]).tolist() for n in order[:3]] == [[0, 1], [1], [0, 2]]
    np.testing.assert_allclose(counts[order[:3]] / 40_000, [0.476474, 0.184661, 0.095344], atol=0.01)
