"""The knowledge as a causal graph: symptom - cause - check - fix, with the parts, access and rules around them.

Every id is a node with its `kind` and `name`. An edge's key is its kind, `words` say more of it: how strongly a cause
shows a finding, at which values a fact raises a cause. Numbers stay in the knowledge base; the graph is for ways.
"""

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TypeAlias

import msgspec
import networkx as nx

from symptomtree.kb.compile import KnowledgeBase, cumulative
from symptomtree.kb.model import Access, Check, Condition, Factor, Fix, Graded, Number, Rule, Strength, Times

Graph: TypeAlias = nx.MultiDiGraph
Edge = tuple[str, str, str]
"""(from, to, kind)"""

KINDS: Mapping[str, str] = {
    "parts": "part",
    "facts": "fact",
    "symptoms": "symptom",
    "questions": "question",
    "checks": "check",
    "causes": "cause",
    "fixes": "fix",
    "access": "access",
    "tools": "tool",
    "hazards": "hazard",
    "rules": "rule",
    "sources": "source",
}
"""section -> the kind of its nodes; what a check settles is of kind 'observable'."""

ORDER = (
    "shows", "raises", "lowers", "confirmed by", "removes", "confused with", "settles", "sets", "then", "retested by",
    "reached by", "uses", "mind", "looks at", "cleared by", "rules out", "implies", "puts first", "makes due",
    "asked after", "needs", "inside", "at", "rests on",
)  # fmt: skip
"""The kinds of edges, what matters most first."""

ONWARD: Mapping[str, tuple[tuple[str, str], ...]] = {
    "cause": (("confirmed by", "out"), ("removes", "in")),
    "check": (("settles", "out"), ("reached by", "out"), ("uses", "out")),
    "fix": (("then", "out"), ("retested by", "out"), ("reached by", "out"), ("uses", "out")),
    "question": (("sets", "out"),),
    "observable": (("settles", "in"),),
    "rule": (("cleared by", "out"), ("rules out", "out"), ("puts first", "out"), ("makes due", "out")),
    "part": (("inside", "out"),),
    "access": (("inside", "out"),),
}
"""kind of node -> (edge kind, direction) to follow from it on the way to a fixed bike; from the start all are."""

LEADS: tuple[tuple[str, str], ...] = (
    ("shows", "in"),  # from a finding to what may cause it
    ("shows", "out"),  # and to what else that cause would show
    ("settles", "in"),
    ("settles", "out"),
    ("confirmed by", "out"),
    ("removes", "in"),
    ("then", "out"),
    ("looks at", "in"),  # from a finding to the rules that it may fire
    ("cleared by", "out"),
    ("puts first", "out"),
    ("makes due", "out"),
)
"""(edge kind, direction) by which work that starts at a symptom comes to something."""


@dataclass(frozen=True, slots=True)
class Step:
    """One edge of a walk.

    Attributes:
        level: how many edges from the start.
        edge: as it stands in the graph.
        node: the end that the walk arrives at.
        again: `node` was walked on from before, so that what follows it is not repeated.
    """

    level: int
    edge: Edge
    node: str
    again: bool = False

    @property
    def outward(self) -> bool:
        """Whether the edge was walked along its own direction."""
        return self.edge[1] == self.node


def causal_graph(kb: KnowledgeBase) -> Graph:
    """Return the graph of all that is known, frozen."""
    graph = nx.MultiDiGraph()
    for section, kind in KINDS.items():
        for name, entry in getattr(kb.entries, section).items():
            graph.add_node(name, kind=kind, name=_saying(entry) if isinstance(entry, Rule) else kb.name_of(name))
    for check in kb.entries.checks.values():
        for finding, observable in check.settles.items():
            graph.add_node(finding, kind="observable", name=observable.ask)
    for start, end, kind, words in (*_of_causes(kb), *_of_work(kb), *_of_rules(kb), *_of_all(kb)):
        graph.add_edge(start, end, key=kind, words=words)
    for start, end in ((c, f) for c, f, kind in graph.edges(keys=True) if kind == "shows"):
        first = cumulative(kb.entries.causes[start].shows[end], kb.grades(end), kb.reach.shape[2])[0]
        graph.edges[start, end, "shows"]["often"] = float(kb.prior[kb.row[start]] * (1 - first))
    return nx.freeze(graph)


_Edges = Iterator[tuple[str, str, str, str]]


def _saying(rule: Rule) -> str:
    """Return what a rule says, in its own words; it has no name."""
    stop = f"Stop riding: {rule.stop_riding.because}" if rule.stop_riding else None
    return stop or rule.contradicts or rule.hand_over or rule.because or "a rule"


def _of_causes(kb: KnowledgeBase) -> _Edges:
    for name, cause in kb.entries.causes.items():
        yield from ((name, f, "shows", graded_words(g, kb.grades(f))) for f, g in cause.shows.items())
        yield name, cause.confirm, "confirmed by", ""
        yield from ((fix, name, "removes", "") for fix in cause.fixes)
        for other in cause.confused_with:
            if name < other or name not in kb.entries.causes[other].confused_with:  # it holds both ways: one edge
                yield name, other, "confused with", ""
        for kind, changed in (("raises", cause.raised_by), ("lowers", cause.lowered_by)):
            for fact, values in changed.items():
                yield fact, name, kind, ", ".join(f"{v}: {factor_words(f)}" for v, f in values.items())


def _of_work(kb: KnowledgeBase) -> _Edges:
    for name, check in kb.entries.checks.items():
        yield from ((name, finding, "settles", "") for finding in check.settles)
        yield from _of_hands(name, check)
    for name, fix in kb.entries.fixes.items():
        yield from ((name, target, "retested by", "") for target in fix.retest)
        yield from ((name, target, "then", "") for target in fix.then)
        yield from _of_hands(name, fix)
    for name, access in kb.entries.access.items():
        yield from _of_hands(name, access)
    for name, question in kb.entries.questions.items():
        findings = dict.fromkeys(f for answer in question.answers.values() for f in answer.sets)
        yield from ((name, finding, "sets", "") for finding in findings)


def _of_hands(name: str, work: Check | Fix | Access) -> _Edges:
    if not isinstance(work, Access) and work.access:
        yield name, work.access, "reached by", ""
    yield from ((name, tool, "uses", "") for tool in work.tools)
    yield from ((name, hazard, "mind", "") for hazard in work.hazards)


def _of_rules(kb: KnowledgeBase) -> _Edges:
    for name, rule in kb.entries.rules.items():
        for c in rule.when:
            target = c.fact or c.finding or c.reading or c.done
            assert target, "vetted: a condition names something"
            yield name, target, "looks at", _condition_words(c)
        if rule.stop_riding:
            yield name, rule.stop_riding.until, "cleared by", ""
        yield from ((name, cause, "rules out", "") for cause in rule.rules_out)
        yield from ((name, target, "implies", value) for target, value in rule.implies.items())
        yield from ((name, target, "puts first", "") for target in rule.do_first)
        yield from ((name, target, "makes due", "") for target in rule.must_follow)


def _of_all(kb: KnowledgeBase) -> _Edges:
    """Yield what entries of several kinds have in common."""
    for section in KINDS:
        for name, entry in getattr(kb.entries, section).items():
            if part := getattr(entry, "part", None):
                yield name, part, "at", ""
            if around := getattr(entry, "inside", None):
                yield name, around, "inside", ""
            yield from _of_context(name, entry)
            yield from ((name, source, "rests on", "") for source in dict.fromkeys(sources_of(entry)))
    for check in kb.entries.checks.values():
        for finding, observable in check.settles.items():
            yield from _of_context(finding, observable)


def _of_context(name: str, entry: object) -> _Edges:
    for fact, values in getattr(entry, "applies_to", {}).items():
        yield name, fact, "needs", " or ".join(values)
    for finding, grades in getattr(entry, "asked_when", {}).items():
        yield name, finding, "asked after", " or ".join(grades)


def sources_of(value: object) -> Iterator[str]:
    """Yield the source of an entry and of everything in it."""
    if isinstance(value, msgspec.Struct):
        for field in value.__struct_fields__:
            inner = getattr(value, field)
            if field == "source":
                yield inner
            yield from sources_of(inner)
    elif isinstance(value, (dict, list)):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from sources_of(inner)


def graded_words(graded: Graded, grades: list[str]) -> str:
    """Return how strongly a cause shows a finding: 'long or worse: likely, to-bar: unlikely'."""
    if not isinstance(graded, dict):
        return strength_words(graded)
    return ", ".join(
        f"{grade}{'' if grade == grades[-1] else ' or worse'}: {strength_words(strength)}"
        for grade, strength in sorted(graded.items(), key=lambda item: grades.index(item[0]))
    )


def strength_words(strength: Strength) -> str:
    """Return a strength as it is read: 'very likely', or the number."""
    return f"{strength.p:g}" if isinstance(strength, Number) else strength.replace("-", " ")


def factor_words(factor: Factor) -> str:
    """Return how strongly context speaks: 'moderate', or '3 times'."""
    return f"{factor.times:g} times" if isinstance(factor, Times) else factor


def _condition_words(condition: Condition) -> str:
    if condition.at_least:
        return f"{condition.at_least} or worse"
    if condition.any_of:
        return " or ".join(condition.any_of)
    limits = [f"{word} {n:g}" for word, n in (("above", condition.above), ("below", condition.below)) if n is not None]
    return " and ".join(limits)


def neighbourhood(graph: Graph, start: str, depth: int) -> list[Step]:
    """Walk from an entry: first all its edges, then those that lead on to a fixed bike.

    Args:
        start: a node.
        depth: how many edges away from it, at least 1.
    Returns:
        The steps, depth first; at each node by kind of edge (`ORDER`), what happens oftener first. A node is walked on
        from only once, where it is nearest to the start.
    """
    came: dict[str, Edge | None] = {start: None}
    onward: dict[str, list[Step]] = {}
    queue = deque([(start, 0)])
    while queue:
        node, level = queue.popleft()
        onward[node] = [step for step in _edges_of(graph, node, level, start) if step.edge != came[node]]
        for step in onward[node]:
            if step.node not in came and step.level < depth:
                came[step.node] = step.edge
                queue.append((step.node, step.level))

    def walk(node: str) -> Iterator[Step]:
        for step in onward[node]:
            further = step.level < depth and bool(onward[step.node])
            here = came.get(step.node) == step.edge
            yield replace(step, again=further and not here)
            if further and here:
                yield from walk(step.node)

    return list(walk(start))


def _edges_of(graph: Graph, node: str, level: int, start: str) -> list[Step]:
    found = [Step(level + 1, edge, edge[1]) for edge in graph.out_edges(node, keys=True)]
    found += [Step(level + 1, edge, edge[0]) for edge in graph.in_edges(node, keys=True)]
    if node != start:
        wanted = ONWARD.get(graph.nodes[node]["kind"], ())
        found = [step for step in found if (step.edge[2], "out" if step.outward else "in") in wanted]
    return sorted(found, key=lambda s: (ORDER.index(s.edge[2]), s.outward, -graph.edges[s.edge].get("often", 0.0)))


def paths(graph: Graph, finding: str, fix: str) -> list[tuple[str, str, str, str]]:
    """Return every (finding, cause, check, fix): why that fix may cure that finding, and how to know before."""
    causes = [c for c in graph.predecessors(finding) if graph.has_edge(c, finding, "shows")]
    return [
        (finding, cause, check, fix)
        for cause in causes
        if graph.has_edge(fix, cause, "removes")
        for check in graph.successors(cause)
        if graph.has_edge(cause, check, "confirmed by")
    ]


def ways(graph: Graph, finding: str, fix: str) -> list[Step]:
    """Return the same paths as steps from the finding: its causes, and under each the check and the fix."""
    steps = []
    for _, cause, check, _ in paths(graph, finding, fix):
        steps.append(Step(1, (cause, finding, "shows"), cause))
        steps.append(Step(2, (cause, check, "confirmed by"), check))
        steps.append(Step(2, (fix, cause, "removes"), fix))
    return steps


def components(graph: Graph) -> list[frozenset[str]]:
    """Return the groups of causes and findings that share nothing, largest first; evidence never crosses them."""
    shows = graph.edge_subgraph(edge for edge in graph.edges(keys=True) if edge[2] == "shows")
    groups = (frozenset(group) for group in nx.weakly_connected_components(shows))
    return sorted(groups, key=lambda group: (-len(group), min(group)))


def unreached(graph: Graph) -> list[str]:
    """Return the causes, checks, fixes and findings that no way from any symptom comes to, sorted."""
    leads = nx.DiGraph()
    leads.add_nodes_from(graph)
    for start, end, kind in graph.edges(keys=True):
        leads.add_edges_from((start, end) if way == "out" else (end, start) for wanted, way in LEADS if wanted == kind)
    symptoms = [name for name, kind in graph.nodes(data="kind") if kind == "symptom"]
    reached = set(symptoms).union(*(nx.descendants(leads, name) for name in symptoms))
    wanted = ("cause", "check", "fix", "observable")
    return sorted(name for name, kind in graph.nodes(data="kind") if kind in wanted and name not in reached)
