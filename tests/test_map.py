"""The graph holds what the knowledge says, its ways are the ones that are there, and `map` prints it as it is."""

import re
from itertools import product

import networkx as nx
import pytest
from small_knowledge import SMALL

from symptomtree.cli import main
from symptomtree.kb.compile import KnowledgeBase, compile_entries, open_knowledge
from symptomtree.kb.load import read
from symptomtree.kb.vet import vet
from symptomtree.plain.map import dot, lines, mermaid
from symptomtree.reasoning.graph import Graph, causal_graph, components, neighbourhood, paths, unreached

# What "The DOT Language" (Graphviz documentation) allows of statements with quoted ids: in quotes, only \" is an escape
# of the language itself, and \\ is one of labels.
QUOTED = r'"((?:[^"\\]|\\["\\])*)"'
NODE = re.compile(rf"  {QUOTED} \[label={QUOTED}(?:, style=bold)?\];")
EDGE = re.compile(rf"  {QUOTED} -> {QUOTED} \[label={QUOTED}\];")


def knowledge(text: str, sound: bool = True) -> KnowledgeBase:
    draft = read({"k.yaml": text.encode()})
    assert not draft.problems
    assert not sound or vet(draft) == []
    return compile_entries(draft.entries, draft.digest)


@pytest.fixture(scope="module")
def small() -> Graph:
    return causal_graph(knowledge(SMALL))


@pytest.fixture(scope="module")
def shipped() -> tuple[KnowledgeBase, Graph]:
    kb = open_knowledge()
    return kb, causal_graph(kb)


def told(capsys, *args: str) -> list[str]:
    assert main(["map", *args]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out.splitlines()


# --- the graph


def test_every_id_is_a_node_of_its_kind(small):
    """Entries of all sections, and what checks settle."""
    kinds = nx.get_node_attributes(small, "kind")
    assert kinds["glazed"] == "cause"
    assert (kinds["squeal"], kinds["shine"]) == ("symptom", "observable")
    assert len(kinds) == len(re.findall(r"(?m)^  [a-z]", SMALL)) + 2
    assert small.nodes["stop-bare"]["name"] == "Stop riding: There is no lining left."


@pytest.mark.parametrize(
    ("start", "kind", "end", "words"),
    [
        ("glazed", "shows", "squeal", "some or worse: likely, loud: unlikely"),
        ("glazed", "shows", "shine", "almost certain"),
        ("worn", "shows", "lining", "thin or worse: almost certain, gone: likely"),
        ("glazed", "confirmed by", "look-at-pads", ""),
        ("rub-pads", "removes", "glazed", ""),
        ("new-pads", "then", "rub-pads", ""),
        ("rub-pads", "retested by", "squeal", ""),
        ("rub-pads", "retested by", "look-at-pads", ""),
        ("look-at-pads", "settles", "lining", ""),
        ("both-at-once", "sets", "weak", ""),
        ("weather", "raises", "glazed", "dry: small"),
        ("weather", "lowers", "glazed", "wet: 3 times"),
        ("glazed", "confused with", "worn", ""),
        ("glazed", "at", "pads", ""),
        ("pads", "inside", "brake", ""),
        ("pads", "needs", "kind", "disc or drum"),
        ("weak", "asked after", "squeal", "some or loud"),
        ("wheel-out", "inside", "on-stand", ""),
        ("look-at-pads", "reached by", "wheel-out", ""),
        ("wheel-out", "uses", "lamp", ""),
        ("rub-pads", "mind", "dust", ""),
        ("stop-bare", "looks at", "lining", "gone"),
        ("stop-bare", "cleared by", "look-at-pads", ""),
        ("rims-have-no-pads", "looks at", "lining", "below 9"),
        ("rims-have-no-pads", "looks at", "rub-pads", ""),
        ("rims-have-no-pads", "rules out", "glazed", ""),
        ("rims-have-no-pads", "implies", "weather", "dry"),
        ("rims-have-no-pads", "puts first", "look-at-pads", ""),
        ("worn", "rests on", "from-memory", ""),
    ],
)
def test_every_field_that_names_an_entry_is_an_edge(small, start, kind, end, words):
    """With its kind, its direction, and how strongly."""
    assert small.edges[start, end, kind]["words"] == words


def test_the_graph_is_frozen(small):
    """It is shared; nobody may change it."""
    with pytest.raises(nx.NetworkXError):
        small.add_edge("glazed", "weak")


def test_nothing_that_ships_is_out_of_reach(shipped):
    """From the symptoms every cause, check, fix and finding can be come to."""
    _, graph = shipped
    assert unreached(graph) == []


HIDDEN = {
    "checks:": "file-it: {name: File it, part: pads, how: [File.], minutes: 1, settles: {"
    "bite: {ask: Does it bite?, grades: {yes: yes, no: no}, leak: unlikely}}}",
    "causes:": "hard: {name: hard pads, part: pads, mechanism: Heat., common: rare, shows: {bite: likely}, "
    "confirm: file-it, fixes: [throw-away], danger: none}",
    "fixes:": "throw-away: {name: Throw away, kind: replace, steps: [Throw.], minutes: 1, works: likely, "
    "retest: [bite]}",
}
"""A cause that no symptom shows, with its check and fix."""


def test_what_no_symptom_leads_to_is_told():
    """A cause that shows only what its own check settles is never thought of; nor are that check and its fix."""
    text = SMALL
    for section, entry in HIDDEN.items():
        text = text.replace(f"\n{section}\n", f"\n{section}\n  {entry}\n")
    graph = causal_graph(knowledge(text, sound=False))
    assert unreached(graph) == ["bite", "file-it", "hard", "throw-away"]
    assert [len(group) for group in components(graph)] == [3, 3, 2]


def test_components_share_no_cause(shipped):
    """They are the blocks of the table of links, found here by plain spreading over its non-trivial cells."""
    kb, graph = shipped
    linked = (kb.reach < 1).any(axis=2)
    left, blocks = set(range(len(kb.cause_ids))), set()
    while left:
        rows, grown = {left.pop()}, True
        while grown:
            columns = {f for f in range(len(kb.finding_ids)) if any(linked[r, f] for r in rows)}
            more = {r for r in left if any(linked[r, f] for f in columns)}
            rows, left, grown = rows | more, left - more, bool(more)
        blocks.add(frozenset([kb.cause_ids[r] for r in rows] + [kb.finding_ids[f] for f in columns]))
    assert set(components(graph)) == blocks
    assert [len(c) for c in components(graph)] == sorted((len(b) for b in blocks), reverse=True)


def test_paths_are_those_that_the_entries_spell_out(shipped):
    """Symptom, a cause that shows it, the check that confirms the cause, a fix of it: no more and no fewer."""
    kb, graph = shipped
    spelt = {
        (finding, name, cause.confirm, fix)
        for name, cause in kb.entries.causes.items()
        for finding, fix in product(cause.shows, cause.fixes)
    }
    found = [path for finding, fix in product(kb.finding_ids, kb.entries.fixes) for path in paths(graph, finding, fix)]
    assert set(found) == spelt
    assert len(found) == len(spelt)


# --- a walk around an entry


def test_a_walk_goes_on_from_each_node_once_where_it_is_nearest(shipped):
    """However deep: it ends, levels grow by one, and each edge leads from what was walked on to what it names."""
    _, graph = shipped
    for start in list(graph)[::12]:
        for depth in (1, 2, 6):
            steps = neighbourhood(graph, start, depth)
            assert {s.node for s in steps if s.level == 1} >= set(graph[start]) | set(graph.pred[start])
            assert all(1 <= s.level <= depth and graph.has_edge(*s.edge) for s in steps)
            at = [start]
            for step in steps:
                del at[step.level :]
                assert {at[-1], step.node} == set(step.edge[:2]) or at[-1] == step.node == step.edge[0]
                at.append(step.node)


def test_causes_of_a_symptom_stand_with_check_and_fixes_the_frequent_first(shipped):
    """The order is how often a cause is there and shows it: prior times link."""
    kb, graph = shipped
    steps = neighbourhood(graph, "brake-noise", 2)
    causes = [s.node for s in steps if s.level == 1 and s.edge[2] == "shows"]
    column = kb.column["brake-noise"]
    often = [kb.prior[kb.row[c]] * (1 - kb.reach[kb.row[c], column, 0]) for c in causes]
    assert set(causes) == {c for c in kb.cause_ids if "brake-noise" in kb.entries.causes[c].shows}
    assert often == sorted(often, reverse=True)
    for n, step in enumerate(steps):
        if step.node in causes and step.level == 1 and not step.again:
            cause = kb.entries.causes[step.node]
            under = [s.node for s in steps[n + 1 : n + 1 + 1 + len(cause.fixes)]]
            assert under == [cause.confirm, *cause.fixes]


# --- the command


def test_map_of_a_symptom(capsys, tmp_path):
    """Each line can be read by itself; nothing but spaces draws the tree."""
    (tmp_path / "k.yaml").write_text(SMALL)
    assert told(capsys, "squeal", "--knowledge", str(tmp_path)) == [
        "symptom squeal",
        "  caused by cause glazed: glazed pads [some or worse: likely, loud: unlikely]",
        "    confirmed by check look-at-pads: Look at the pads",
        "    fixed by fix rub-pads: Rub the pads",
        "    fixed by fix new-pads: Fit new pads",
        "  set by question both-at-once: Which is it?",
        "    sets symptom weak: weak brake",
        "  proves fix rub-pads: Rub the pads",
        "    retested by check look-at-pads: Look at the pads",
        "  makes ask symptom weak: weak brake [some or loud]",
        "  at part brake",
        "    inside part bike",
    ]
    deeper = told(capsys, "squeal", "--knowledge", str(tmp_path), "--depth", "3")
    assert "    fixed by fix rub-pads: Rub the pads (goes on elsewhere in this list)" in deeper


def test_map_to_a_fix_keeps_to_the_ways_there(capsys, tmp_path):
    """Or says that there is none."""
    (tmp_path / "k.yaml").write_text(SMALL)
    place = ("--knowledge", str(tmp_path))
    assert told(capsys, "weak", "--to", "new-pads", *place) == [
        "symptom weak: weak brake",
        "  caused by cause worn: worn pads [likely]",
        "    confirmed by check look-at-pads: Look at the pads",
        "    fixed by fix new-pads: Fit new pads",
    ]
    assert main(["map", "weak", "--to", "rub-pads", *place]) == 0
    out, err = capsys.readouterr()
    assert (out, err) == ("symptom weak: weak brake\n", "symptomtree map: no way to rub-pads from weak\n")


def test_map_of_everything(capsys):
    """How much there is, how it hangs together, what nothing leads to."""
    out = told(capsys)
    assert any(line.startswith("cause: ") and int(line.split()[1]) >= 70 for line in out)
    assert any(line.startswith("groups of causes and findings that share nothing: ") for line in out)
    assert out[-1] == "what no way from a symptom comes to: 0"


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["brake-noize"], "nothing is called 'brake-noize'; did you mean 'brake-noise'?"),
        (["brake-noise", "--to", "pads-freshn"], "nothing is called 'pads-freshn'; did you mean 'pads-freshen'?"),
        (["\x1b[31m"], "nothing is called '\\x1b[31m'"),
        ([""], "nothing is called ''"),
        (["--format", "dot"], "name the entry to start from"),
        (["--knowledge", "nowhere"], "nowhere: no such folder"),
    ],
)
def test_wrong_use_is_one_line(args, says, capsys):
    """Exit code 2, with the nearest name."""
    assert main(["map", *args]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err
    assert err.count("\n") == 1


def test_faulty_knowledge_is_told_with_its_place(capsys, tmp_path):
    """Not drawn."""
    (tmp_path / "k.yaml").write_text(SMALL.replace("danger: none", "danger: no"))
    assert main(["map", "squeal", "--knowledge", str(tmp_path)]) == 2
    assert f"{tmp_path}/k.yaml:" in capsys.readouterr().err


def test_dot_says_the_same_in_its_language(capsys):
    """Every statement is a quoted node or edge, every edge joins declared nodes."""
    out = told(capsys, "brake-noise", "--format", "dot")
    assert out[:3] == ["digraph {", "  rankdir=LR;", "  node [shape=box];"]
    assert out[-1] == "}"
    nodes = [found.group(1) for line in out if (found := NODE.fullmatch(line))]
    edges = [found.groups() for line in out if (found := EDGE.fullmatch(line))]
    assert len(nodes) + len(edges) == len(out) - 4
    assert len(set(nodes)) == len(nodes)
    assert {end for edge in edges for end in edge[:2]} == set(nodes)
    assert ("pads-glazed", "brake-noise") in {edge[:2] for edge in edges}


def test_mermaid_says_the_same_in_its_language(capsys):
    """Nodes by number with quoted text; edges between them."""
    out = told(capsys, "brake-noise", "--format", "mermaid")
    assert out[0] == "flowchart LR"
    nodes = [m.group(1) for line in out if (m := re.fullmatch(r'  (n\d+)\["[^"`<>&]+"\]', line))]
    edges = [m.groups() for line in out if (m := re.fullmatch(r'  (n\d+) -->\|"[^"`<>&]+"\| (n\d+)', line))]
    assert len(nodes) + len(edges) == len(out) - 1
    assert {end for edge in edges for end in edge} == set(nodes)


def test_names_cannot_break_out_of_a_picture():
    """Quotes, brackets, markup, line ends and backslashes in a name are just signs of it."""
    name = r'a"];b [label=<b>\N\" | `x` #quot; end --> } ]'
    graph = causal_graph(knowledge(SMALL.replace("name: squeal", f"name: '{name}'")))
    steps = neighbourhood(graph, "squeal", 1)
    line = list(dot(graph, "squeal", steps))[3]
    label = NODE.fullmatch(line)
    assert label
    assert re.sub(r"\\(.)", r"\1", label.group(2)) == f"symptom squeal: {name}"
    line = list(mermaid(graph, "squeal", steps))[1]
    assert re.sub("#(\\d+);", lambda m: chr(int(m.group(1))), line) == f'  n0["symptom squeal: {name}"]'
    assert not re.search(r"[`<>&\[\]|]", re.sub(r"#\d+;", "", line)[6:-2])
    assert next(lines(graph, "squeal", steps)) == f"symptom squeal: {name}"
