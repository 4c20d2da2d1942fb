"""The graph around an entry, as indented lines, as DOT and as a Mermaid flowchart."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from symptomtree.plain.text import clean
from symptomtree.reasoning.graph import Graph, Step, components, unreached

TOWARDS: Mapping[str, str] = {
    "shows": "caused by",
    "raises": "raised by",
    "lowers": "lowered by",
    "confirmed by": "confirms",
    "removes": "fixed by",
    "confused with": "confused with",
    "settles": "settled by",
    "sets": "set by",
    "then": "follows",
    "retested by": "proves",
    "reached by": "lets reach",
    "uses": "used by",
    "mind": "minded by",
    "looks at": "looked at by",
    "cleared by": "clears",
    "rules out": "ruled out by",
    "implies": "implied by",
    "puts first": "put first by",
    "makes due": "made due by",
    "asked after": "makes ask",
    "needs": "needed by",
    "inside": "holds",
    "at": "place of",
    "rests on": "source of",
}
"""kind of edge -> its words when it is read against its direction."""


def lines(graph: Graph, start: str, steps: Sequence[Step]) -> Iterator[str]:
    """Yield a line for the entry and one for each step, indented by its level; each line can be read by itself."""
    yield _entry(graph, start)
    for step in steps:
        kind = step.edge[2]
        words = graph.edges[step.edge]["words"]
        yield (
            f"{'  ' * step.level}{kind if step.outward else TOWARDS[kind]} {_entry(graph, step.node)}"
            + (f" [{clean(words)}]" if words else "")
            + (" (goes on elsewhere in this list)" if step.again else "")
        )


def kind_of(graph: Graph, name: str) -> str:
    """Return what kind of entry an id is, in one word; what a check settles is a finding."""
    kind = str(graph.nodes[name]["kind"])
    return "finding" if kind == "observable" else kind


def _entry(graph: Graph, node: str) -> str:
    name = clean(graph.nodes[node]["name"])
    return f"{kind_of(graph, node)} {clean(node)}" + (f": {name}" if name != node else "")


def dot(graph: Graph, start: str, steps: Sequence[Step]) -> Iterator[str]:
    """Yield the lines of a directed graph in the DOT language."""
    yield "digraph {"
    yield "  rankdir=LR;"
    yield "  node [shape=box];"
    for node in _nodes(start, steps):
        weight = ", style=bold" if node == start else ""
        yield f"  {_dot(node)} [label={_dot(_entry(graph, node))}{weight}];"
    for source, target, label in _labelled(graph, steps):
        yield f"  {_dot(source)} -> {_dot(target)} [label={_dot(label)}];"
    yield "}"


def _dot(text: str) -> str:
    escaped = clean(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def mermaid(graph: Graph, start: str, steps: Sequence[Step]) -> Iterator[str]:
    """Yield the lines of a Mermaid flowchart; nodes are numbered, since ids may be words of that language."""
    numbers = {node: f"n{n}" for n, node in enumerate(_nodes(start, steps))}
    yield "flowchart LR"
    for node, number in numbers.items():
        yield f'  {number}["{_mermaid(_entry(graph, node))}"]'
    for source, target, label in _labelled(graph, steps):
        yield f'  {numbers[source]} -->|"{_mermaid(label)}"| {numbers[target]}'


def _mermaid(text: str) -> str:
    """Write all but plain signs as character codes: quotes, brackets, markup and backticks mean something there."""
    return re.sub(r"[^\w .,:?()%+/-]", lambda found: f"#{ord(found.group())};", clean(text))


def _nodes(start: str, steps: Sequence[Step]) -> list[str]:
    return list(dict.fromkeys([start, *(step.node for step in steps)]))


def _labelled(graph: Graph, steps: Sequence[Step]) -> Iterator[tuple[str, str, str]]:
    """Yield (from, to, label) of each edge once."""
    for edge in dict.fromkeys(step.edge for step in steps):
        words = graph.edges[edge]["words"]
        yield edge[0], edge[1], f"{edge[2]} ({words})" if words else edge[2]


def overview(graph: Graph) -> Iterator[str]:
    """Yield how much there is, how it hangs together, and what nothing leads to."""
    for kind, count in Counter(kind for _, kind in graph.nodes(data="kind")).items():
        yield f"{kind}: {count}"
    groups = components(graph)
    yield f"groups of causes and findings that share nothing: {len(groups)}"
    for group in groups:
        kinds = Counter("cause" if graph.nodes[node]["kind"] == "cause" else "finding" for node in group)
        first = min(node for node in group if graph.nodes[node]["kind"] == "cause")
        yield f"  causes {kinds['cause']}, findings {kinds['finding']}, with {_entry(graph, first)}"
    lost = unreached(graph)
    yield f"what no way from a symptom comes to: {len(lost)}"
    yield from (f"  {_entry(graph, node)}" for node in lost)
