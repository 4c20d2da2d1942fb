"""How fast belief, the next step and the first question are, beside an exact engine in C++: all in one run.

    python -m tests.bench.posterior

Times are milliseconds: of each case the fastest of several tries (what else the machine does meanwhile is no part of
the work), and of those the median over cases. The reference is pyAgrum's lazy propagation, given only the findings
looked at and asked only for the causes; building its network is not timed. Answers are checked to agree to 1e-9.
"""

import gc
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command itself does, before numpy is loaded

import numpy as np

from symptomtree.cases.files import read_case
from symptomtree.kb.compile import KnowledgeBase, open_knowledge
from symptomtree.reasoning.assess import SAMPLES, Adviser
from symptomtree.reasoning.belief import Model, infer
from symptomtree.reasoning.context import prior_in_context
from symptomtree.reasoning.evidence import Observed
from tests.networks import Network, happening, random_model, sure

ABNORMAL = (2, 4, 6, 8, 10, 12, 14)
CASES, REPEATS = 7, 9
AIM_POSTERIOR, AIM_RATIO, AIM_STEP, AIM_ASK = 5.0, 2.0, 50.0, 600.0


def took(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Return the time of `work` in milliseconds, the fastest of several tries.

    The collector runs as it always does, but does not walk what only this benchmark keeps: the reference's networks.
    """
    gc.collect()
    gc.freeze()
    times = []
    for _ in range(repeats):
        begun = perf_counter()
        work()
        times.append((perf_counter() - begun) * 1e3)
    return min(times)


def bikes(model: Model, abnormal: int, normal: int) -> Iterator[list[Observed]]:
    """Yield what is seen of bikes drawn from the model, with so many abnormal and normal findings."""
    random = np.random.default_rng(abnormal)
    while True:
        seen = happening(model, random, {f: (0,) for f in range(len(model.leak))})
        bad = [o for o in seen if o.looks[0].weights[0] == 0]
        good = [o for o in seen if o.looks[0].weights[0] == 1]
        if len(bad) >= abnormal and len(good) >= normal:
            yield [bad[n] for n in random.permutation(len(bad))[:abnormal]] + [
                good[n] for n in random.permutation(len(good))[:normal]
            ]


def posterior(title: str, model: Model, normal: int) -> tuple[float, float]:
    """Print a table, return the slowest median and the smallest ratio of medians."""
    print(f"\n{title}: {len(model.prior)} causes x {len(model.leak)} findings, {normal} normal, {CASES} cases a row")
    print("  abnormal   ours   worst   + sets   reference    worst   times faster   furthest apart")
    slowest, least = 0.0, np.inf
    for abnormal in ABNORMAL:
        ours, sets, theirs, apart = [], [], [], 0.0
        for _, seen in zip(range(CASES), bikes(model, abnormal, normal), strict=False):
            network = Network(model, seen)
            ours.append(took(lambda seen=seen: infer(model, seen)))
            sets.append(took(lambda seen=seen: infer(model, seen, samples=SAMPLES)))
            theirs.append(took(network.infer, 3))
            apart = max(apart, float(np.abs(infer(model, seen).now - network.posterior()[0]).max()))
        ratio = median(theirs) / median(ours)
        slowest, least = max(slowest, median(ours)), min(least, ratio)
        print(
            f"  {abnormal:8d} {median(ours):6.2f} {max(ours):7.2f} {median(sets):8.2f} {median(theirs):11.2f}"
            f" {max(theirs):8.1f} {ratio:14.1f} {apart:16.1e}"
        )
        assert apart < 1e-9, "the two engines do not agree"
    return slowest, least


def past_the_limit() -> None:
    random = np.random.default_rng(1)
    model = random_model(random, 90, 60, links=(5, 8), prior=(0.01, 0.15), leak=(0.001, 0.02))
    seen = [sure(f, int(f < 30)) for f in range(45)]
    time = took(lambda: infer(model, seen, samples=SAMPLES), 3)
    first, second = infer(model, seen), infer(model, seen, seed=1)
    apart = np.abs(first.now - second.now).max()
    print("\n30 abnormal findings that all hang together, 90 causes")
    print(f"  {time:.0f} ms, error bound {first.error:.3f}; two independent runs differ by {apart:.3f}")


def next_step(adviser: Adviser, cases: Sequence[Path]) -> float:
    times = []
    for path in cases:
        events = read_case(path, adviser.knowledge).events
        times.append(took(lambda events=events: adviser.assess(events), 5))
    slow = quantiles(times, n=20)[-1]
    print(f"\nnext step, all events of {len(times)} walkthroughs told")
    print(f"  median {median(times):.1f} ms, 95th percentile {slow:.1f} ms, worst {max(times):.1f} ms")
    return slow


def loading() -> KnowledgeBase:
    with tempfile.TemporaryDirectory() as folder:
        before = os.environ.get("XDG_CACHE_HOME")
        os.environ["XDG_CACHE_HOME"] = folder
        begun = perf_counter()
        knowledge = open_knowledge()
        cold = (perf_counter() - begun) * 1e3
        warm = took(open_knowledge)
        if before is None:
            del os.environ["XDG_CACHE_HOME"]
        else:
            os.environ["XDG_CACHE_HOME"] = before
    print(f"\nknowledge: read and vetted {cold:.0f} ms, from its cache {warm:.0f} ms")
    return knowledge


def first_prompt(*complaint: str) -> float:
    """Return the time from the start of the process to the first prompt."""
    command = [sys.executable, "-m", "symptomtree", "ask", "--no-save", *complaint]

    def once() -> None:
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
            assert process.stdout
            said = b""
            while not said.endswith(b"> ") and (byte := process.stdout.read(1)):
                said += byte
            process.kill()
        assert said.endswith(b"> "), said.decode()

    return took(once)


def main() -> None:
    knowledge = loading()
    model = Model(prior_in_context(knowledge, {}), knowledge.reach, knowledge.leak)
    shipped = posterior("The knowledge that ships", model, 12)
    random = np.random.default_rng(0)
    large = random_model(random, 300, 500, links=(5, 12), prior=(0.0005, 0.02), leak=(0.0005, 0.01))
    synthetic = posterior("A random model", large, 15)
    past_the_limit()
    step = next_step(Adviser(knowledge), sorted(Path("walkthroughs").glob("*.yaml")))
    bare, told = first_prompt(), first_prompt("my brakes squeal")
    print(
        f"\nask, from the start of the process to the first prompt\n  {bare:.0f} ms, with a complaint {told:.0f} ms\n"
    )
    for what, figure, aim, met in (
        (
            "posterior, slowest median, ms",
            max(shipped[0], synthetic[0]),
            AIM_POSTERIOR,
            max(shipped[0], synthetic[0]) < AIM_POSTERIOR,
        ),
        (
            "times faster than the reference, least",
            min(shipped[1], synthetic[1]),
            AIM_RATIO,
            min(shipped[1], synthetic[1]) >= AIM_RATIO,
        ),
        ("next step, 95th percentile, ms", step, AIM_STEP, step < AIM_STEP),
        ("ask to the first question, ms", max(bare, told), AIM_ASK, max(bare, told) < AIM_ASK),
    ):
        print(f"{'met   ' if met else 'MISSED'} {what}: {figure:.1f} (aim {aim:g})")


if __name__ == "__main__":
    main()
