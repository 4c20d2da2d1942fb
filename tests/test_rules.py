"""Categorical conclusions: what follows, why, since when; and the same whatever the engine was asked before."""

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from symptomtree.kb.model import Condition, Entries, Fact, Rule, Stop, Symptom
from symptomtree.reasoning.rules import Conclusion, RuleEngine, Told

GRADES = ("none", "some", "much")
YES_NO = ("no", "yes")


def entries(rules: dict[str, Rule], grades: tuple[str, ...] = GRADES, facts: tuple[str, ...] = ("frame",)) -> Entries:
    """Return knowledge of just these rules, the facts, and every finding that the rules name."""
    named = {c.finding for rule in rules.values() for c in rule.when if c.finding}
    named |= {name for rule in rules.values() for name in rule.implies if name not in facts}
    fact = Fact(about="bike", ask="Which?", values={"steel": "Steel", "carbon": "Carbon"}, share={}, source="memory")
    symptom = Symptom(part="bike", name="a sign", ask="Is it?", grades={g: g for g in grades}, leak="rare")
    return Entries(facts=dict.fromkeys(facts, fact), symptoms=dict.fromkeys(sorted(named), symptom), rules=rules)


def some(finding: str) -> Condition:
    return Condition(finding=finding, at_least="some")


def conclude(rules: dict[str, Rule], *told: Told) -> tuple[Conclusion, ...]:
    return RuleEngine(entries(rules)).conclude(told)


def test_nothing_follows_from_no_rules_or_nothing_told():
    """An empty answer is an answer."""
    assert conclude({}, Told(1, "finding", "noise", "much")) == ()
    assert conclude({"a": Rule(when=[some("noise")], rules_out=["dry-chain"])}) == ()


def test_each_kind_of_conclusion_says_what_its_rule_says():
    """Stop riding comes first, then by kind, then by rule, and lists keep the order of the rule."""
    both = [some("crack"), some("creak")]
    rules = {
        "b": Rule(when=both, do_first=["look-again", "clean-it"], must_follow=["bed-in"], because="It is cheap."),
        "a": Rule(
            when=both,
            stop_riding=Stop(because="It may break.", until="look-at-the-frame"),
            rules_out=["dry-chain"],
            implies={"frame": "carbon", "play": "some"},
            contradicts="It cannot be both.",
            do_first=["wash-it"],
            hand_over="The maker decides.",
        ),
    }
    told = (Told(2, "finding", "crack", "much"), Told(5, "finding", "creak", "some"))
    found = conclude(rules, *told)
    assert [(c.rule, c.kind, c.target, c.value, c.because) for c in found] == [
        ("a", "stop-riding", "look-at-the-frame", "", "It may break."),
        ("a", "rules-out", "dry-chain", "", ""),
        ("a", "implies", "frame", "carbon", ""),
        ("a", "implies", "play", "some", ""),
        ("a", "contradicts", "", "", "It cannot be both."),
        ("a", "do-first", "wash-it", "", ""),
        ("b", "do-first", "look-again", "", "It is cheap."),
        ("b", "do-first", "clean-it", "", "It is cheap."),
        ("b", "must-follow", "bed-in", "", "It is cheap."),
        ("a", "hand-over", "", "", "The maker decides."),
    ]
    assert {(c.told, c.via, c.at) for c in found} == {(told, ("a",), 5), (told, ("b",), 5)}


@pytest.mark.parametrize(
    ("condition", "told", "holds"),
    [
        (Condition(finding="noise", at_least="some"), Told(1, "finding", "noise", "none"), False),
        (Condition(finding="noise", at_least="some"), Told(1, "finding", "noise", "some"), True),
        (Condition(finding="noise", at_least="some"), Told(1, "finding", "noise", "much"), True),
        (Condition(finding="noise", at_least="some"), Told(1, "finding", "play", "much"), False),
        (Condition(finding="noise", any_of=["none", "much"]), Told(1, "finding", "noise", "some"), False),
        (Condition(finding="noise", any_of=["none", "much"]), Told(1, "finding", "noise", "much"), True),
        (
            Condition(finding="noise", any_of=["none", "much"], at_least="some"),
            Told(1, "finding", "noise", "none"),
            False,
        ),
        (Condition(fact="frame", any_of=["carbon"]), Told(1, "fact", "frame", "carbon"), True),
        (Condition(fact="frame", any_of=["carbon"]), Told(1, "fact", "frame", "steel"), False),
        (Condition(fact="frame", any_of=["carbon"]), Told(1, "finding", "frame", "carbon"), False),
        (Condition(done="new-pads"), Told(1, "done", "new-pads"), True),
        (Condition(done="new-pads"), Told(1, "done", "new-chain"), False),
        (Condition(reading="wear", above=0.5), Told(1, "reading", "wear", 0.5), False),
        (Condition(reading="wear", above=0.5), Told(1, "reading", "wear", 0.51), True),
        (Condition(reading="wear", below=0.5), Told(1, "reading", "wear", 0.5), False),
        (Condition(reading="wear", below=0.5), Told(1, "reading", "wear", -1.0), True),
        (Condition(reading="wear", above=0.0), Told(1, "reading", "width", 9.0), False),
        (Condition(reading="wear", above=0.5, below=1.0), Told(1, "reading", "wear", 0.75), True),
        (Condition(reading="wear", above=0.5, below=1.0), Told(1, "reading", "wear", 1.0), False),
        (Condition(reading="wear", above=0.5), Told(1, "finding", "wear", "much"), False),
    ],
)
def test_a_condition_holds_for_what_it_names_and_for_nothing_else(condition, told, holds):
    """Grades count from the one named up, values are those listed, limits of a reading are strict."""
    found = conclude({"a": Rule(when=[condition], rules_out=["dry-chain"])}, told)
    assert [c.told for c in found] == ([(told,)] if holds else [])


def test_a_contradiction_names_the_answers_that_cannot_both_hold():
    """The front end asks again about exactly these."""
    rules = {"a": Rule(when=[Condition(finding="noise", any_of=["none"]), some("noise-in-turns")], contradicts="No.")}
    told = [Told(1, "finding", "noise", "none"), Told(2, "finding", "play", "some")]
    assert conclude(rules, *told) == ()
    (found,) = conclude(rules, *told, Told(3, "finding", "noise-in-turns", "much"))
    assert [t.name for t in found.told] == ["noise", "noise-in-turns"]


CHAIN = {
    "third": Rule(when=[some("b"), Condition(done="wash")], stop_riding=Stop(because="It may break.", until="look")),
    "first": Rule(when=[Condition(fact="frame", any_of=["carbon"])], implies={"a": "some"}),
    "second": Rule(when=[some("a"), some("c")], implies={"b": "much"}),
}


def test_a_chain_of_three_rules_tells_its_rules_in_order_and_all_that_it_rests_on():
    """What was told counts, however many implied findings lie between."""
    told = (Told(1, "fact", "frame", "carbon"), Told(2, "finding", "c", "much"), Told(4, "done", "wash"))
    stop, *implied = conclude(CHAIN, Told(3, "finding", "unrelated", "much"), *told)
    assert (stop.rule, stop.told, stop.via, stop.at) == ("third", told, ("first", "second", "third"), 4)
    assert [(c.rule, c.target, c.via, c.at) for c in implied] == [
        ("first", "a", ("first",), 1),
        ("second", "b", ("first", "second"), 2),
    ]


def test_what_rested_on_a_withdrawn_answer_goes_with_it():
    """Also at the far end of a chain, and it comes back with the answer."""
    engine = RuleEngine(entries(CHAIN))
    told = [Told(1, "fact", "frame", "carbon"), Told(2, "finding", "c", "much"), Told(4, "done", "wash")]
    everything = engine.conclude(told)
    assert {c.rule for c in engine.conclude([told[0], told[2]])} == {"first"}
    assert engine.conclude(told[1:]) == ()
    assert engine.conclude(told) == everything


def test_a_finding_found_again_fires_its_rule_again():
    """Per rule the latest items count, so that a check passed before they were found clears nothing."""
    rules = {"a": Rule(when=[some("crack"), some("creak")], hand_over="The maker decides.")}
    told = [
        Told(1, "finding", "crack", "much"),
        Told(3, "finding", "creak", "some"),
        Told(7, "finding", "crack", "much"),
    ]
    (found,) = conclude(rules, *told)
    assert (found.told, found.at) == ((told[1], told[2]), 7)
    (found,) = conclude(rules, *told, Told(9, "finding", "crack", "some"))
    assert (found.told, found.at) == ((told[1], Told(9, "finding", "crack", "some")), 9)


def test_an_implied_item_may_be_the_latest():
    """Told at 1 and implied by something found at 5: what follows dates from 5."""
    rules = {
        "a": Rule(when=[some("play")], implies={"crack": "some"}),
        "b": Rule(when=[some("crack")], hand_over="The maker decides."),
    }
    first = Told(1, "finding", "crack", "some")
    assert [(c.via, c.at) for c in conclude(rules, first)] == [(("b",), 1)]
    _, found = conclude(rules, first, Told(5, "finding", "play", "some"))
    assert (found.via, found.told, found.at) == (("a", "b"), (Told(5, "finding", "play", "some"),), 5)


def test_nothing_stays_of_a_case_that_is_over():
    """An engine that serves many cases stays as small and as quick as a new one."""
    engine = RuleEngine(entries(CHAIN))
    told = [Told(1, "fact", "frame", "carbon"), Told(2, "finding", "c", "much"), Told(4, "done", "wash")]
    assert engine.conclude(told)
    assert engine._memory
    assert any(engine._fired.values())
    assert engine.conclude([]) == ()
    assert not engine._memory
    assert not any(engine._fired.values())


def test_rules_in_a_circle_end():
    """Each of the two rests on what was told, neither on itself; and both go when that goes."""
    rules = {
        "ab": Rule(when=[some("a")], implies={"b": "some"}),
        "ba": Rule(when=[some("b")], implies={"a": "some"}),
    }
    engine = RuleEngine(entries(rules))
    assert [(c.rule, c.via) for c in engine.conclude([Told(1, "finding", "a", "some")])] == [
        ("ab", ("ab",)),
        ("ba", ("ab", "ba")),
    ]
    assert [(c.rule, c.via) for c in engine.conclude([Told(1, "finding", "b", "some")])] == [
        ("ab", ("ba", "ab")),
        ("ba", ("ba",)),
    ]
    assert engine.conclude([]) == ()


def test_a_rule_may_be_called_like_anything():
    """Ids are the knowledge's business; none may replace a method of the library."""
    names = ["run", "facts", "reset", "declare", "agenda"]
    found = conclude({n: Rule(when=[some("a")], rules_out=["x"]) for n in names}, Told(1, "finding", "a", "much"))
    assert [c.rule for c in found] == sorted(names)


def test_two_conditions_may_hold_by_the_same_answer():
    """One answer serves twice; it is told once."""
    rules = {"a": Rule(when=[some("a"), Condition(finding="a", any_of=["much"])], rules_out=["x"])}
    (found,) = conclude(rules, Told(1, "finding", "a", "much"))
    assert found.told == (Told(1, "finding", "a", "much"),)


def test_the_zoo_keeper_knows_the_animals():
    """Identifying animals: Winston, Artificial Intelligence, 3rd edition 1992, chapter 7, rules Z1 to Z15."""
    table = {
        "z01": ("hair", "mammal"),
        "z02": ("milk", "mammal"),
        "z03": ("feathers", "bird"),
        "z04": ("flies lays-eggs", "bird"),
        "z05": ("mammal eats-meat", "carnivore"),
        "z06": ("mammal pointed-teeth claws eyes-ahead", "carnivore"),
        "z07": ("mammal hoofs", "ungulate"),
        "z08": ("mammal chews-cud", "ungulate"),
        "z09": ("carnivore tawny dark-spots", "cheetah"),
        "z10": ("carnivore tawny black-stripes", "tiger"),
        "z11": ("ungulate long-legs long-neck tawny dark-spots", "giraffe"),
        "z12": ("ungulate white black-stripes", "zebra"),
        "z13": ("bird flightless long-legs long-neck black-and-white", "ostrich"),
        "z14": ("bird flightless swims black-and-white", "penguin"),
        "z15": ("bird flies-well", "albatross"),
    }
    engine = RuleEngine(entries(horn(table), YES_NO))
    for seen, chain, animal in [
        ("hair chews-cud long-legs long-neck tawny dark-spots", ("z01", "z08", "z11"), "giraffe"),
        ("hair dark-spots tawny eats-meat", ("z01", "z05", "z09"), "cheetah"),
        ("claws milk black-stripes eyes-ahead pointed-teeth tawny", ("z02", "z06", "z10"), "tiger"),
        ("feathers flies-well", ("z03", "z15"), "albatross"),
        ("feathers swims black-and-white flightless", ("z03", "z14"), "penguin"),
    ]:
        told = tuple(Told(n, "finding", name, "yes") for n, name in enumerate(seen.split(), start=1))
        found = engine.conclude(told)
        assert [c.rule for c in found] == list(chain)
        assert (found[-1].target, found[-1].via, found[-1].told) == (animal, chain, told)


def test_horn_clauses_with_a_circle():
    """P=>Q, L&M=>P, B&L=>M, A&P=>L, A&B=>L with A and B given: L, M, P and Q follow.

    Russell and Norvig, Artificial Intelligence: A Modern Approach, 3rd edition 2010, figure 7.16 (from memory).
    """
    table = {"pq": ("p", "q"), "lmp": ("l m", "p"), "blm": ("b l", "m"), "apl": ("a p", "l"), "abl": ("a b", "l")}
    engine = RuleEngine(entries(horn(table), YES_NO))
    found = {c.rule: c for c in engine.conclude([Told(1, "finding", "a", "yes"), Told(2, "finding", "b", "yes")])}
    assert {c.target for c in found.values()} == set("lmpq")
    assert found["pq"].via == ("abl", "blm", "lmp", "pq")
    assert found["apl"].via == ("abl", "blm", "lmp", "apl")
    assert engine.conclude([Told(1, "finding", "a", "yes")]) == ()


def horn(table: dict[str, tuple[str, str]]) -> dict[str, Rule]:
    """Return rules from id: (words that must hold, the word that follows)."""
    return {
        rule_id: Rule(when=[Condition(finding=word, any_of=["yes"]) for word in when.split()], implies={then: "yes"})
        for rule_id, (when, then) in table.items()
    }


FINDINGS, VALUES = "abc", ("steel", "carbon")
conditions = st.one_of(
    st.builds(some, st.sampled_from(FINDINGS)),
    st.builds(
        lambda name, grades: Condition(finding=name, any_of=grades),
        st.sampled_from(FINDINGS),
        st.lists(st.sampled_from(GRADES), min_size=1, max_size=2),
    ),
    st.builds(lambda value: Condition(fact="frame", any_of=[value]), st.sampled_from(VALUES)),
    st.sampled_from([Condition(reading="wear", above=1.0), Condition(reading="wear", above=0.0, below=2.0)]),
    st.just(Condition(done="wash")),
)
implied = st.one_of(
    st.dictionaries(st.sampled_from(FINDINGS), st.sampled_from(GRADES), min_size=1, max_size=2),
    st.dictionaries(st.just("frame"), st.sampled_from(VALUES), min_size=1),
)
rule_sets = st.lists(
    st.builds(
        lambda when, implies: Rule(when=when, implies=implies, rules_out=["dry-chain"]),
        st.lists(conditions, min_size=1, max_size=3),
        st.one_of(st.just({}), implied, implied),
    ),
    min_size=1,
    max_size=6,
).map(lambda rules: {f"rule-{n}": rule for n, rule in enumerate(rules)})
events = st.integers(1, 9)
items = st.one_of(
    st.builds(Told, events, st.just("finding"), st.sampled_from(FINDINGS), st.sampled_from(GRADES)),
    st.builds(Told, events, st.just("fact"), st.just("frame"), st.sampled_from(VALUES)),
    st.builds(Told, events, st.just("reading"), st.just("wear"), st.sampled_from([0.5, 1.5, 2.5])),
    st.builds(Told, events, st.just("done"), st.just("wash")),
)
# Several states of one case: of the same answers each leaves some out, so that answers come, go and come back.
cases = st.lists(items, min_size=5, max_size=9, unique=True).flatmap(
    lambda pool: st.lists(
        st.sets(st.sampled_from(pool), max_size=4).map(lambda out: [t for t in pool if t not in out]),
        min_size=1,
        max_size=5,
    )
)


def matches(condition: Condition, kind: str, name: str, value: str | float) -> bool:
    """Say in plain Python whether a condition holds for one item."""
    if kind == "reading":
        low, high = condition.above, condition.below
        return condition.reading == name and (low is None or value > low) and (high is None or value < high)
    if kind == "done":
        return condition.done == name
    if kind == "fact":
        return condition.fact == name and value in condition.any_of
    severe = GRADES[GRADES.index(condition.at_least) :] if condition.at_least else condition.any_of
    return condition.finding == name and value in severe


def naive(rules: dict[str, Rule], told: list[Told]) -> dict[str, int]:
    """Return rule -> the latest event it can rest on, by trying everything until nothing changes."""
    since: dict[tuple[str, str, str | float], int] = {}
    for t in told:
        since[t.kind, t.name, t.value] = max(t.at, since.get((t.kind, t.name, t.value), 0))
    fired: dict[str, int] = {}
    changed = True
    while changed:
        changed = False
        for rule_id, rule in rules.items():
            ats = [max((at for i, at in since.items() if matches(c, *i)), default=0) for c in rule.when]
            if all(ats) and max(ats) > fired.get(rule_id, 0):
                changed = True
                fired[rule_id] = max(ats)
                for name, value in rule.implies.items():
                    item = ("fact" if name == "frame" else "finding", name, value)
                    since[item] = max(*ats, since.get(item, 0))
    return fired


@given(rule_sets, cases)
def test_an_engine_with_a_past_says_what_a_new_one_says(rules, states):
    """And both fire the rules that trying everything fires, resting on the same events."""
    knowledge = entries(rules)
    engine = RuleEngine(knowledge)
    for told in states:
        found = engine.conclude(told)
        assert found == RuleEngine(knowledge).conclude(told[::-1])
        assert {c.rule: c.at for c in found} == naive(rules, told)


@given(rule_sets, cases)
def test_a_conclusion_follows_from_what_it_says_it_rests_on(rules, states):
    """Firing the rules of `via` one after the other on nothing but `told` leads to it."""
    for told in states:
        for c in RuleEngine(entries(rules)).conclude(told):
            assert set(c.told) <= set(told)
            assert c.at == max(t.at for t in c.told)
            assert c.via[-1] == c.rule
            held = {(t.kind, t.name, t.value) for t in c.told}
            for rule_id in c.via:
                assert all(any(matches(condition, *i) for i in held) for condition in rules[rule_id].when)
                implies = rules[rule_id].implies
                held |= {("fact" if name == "frame" else "finding", name, value) for name, value in implies.items()}


def test_many_engines_live_side_by_side():
    """Each knows its own rules only, also when they are asked in turn."""
    told = [Told(1, "finding", "a", "much")]
    engines = [RuleEngine(entries({f"r{n}": Rule(when=[some("a")], rules_out=["x"])})) for n in range(5)]
    for _ in range(2):
        assert [c.rule for engine in engines for c in engine.conclude(told)] == ["r0", "r1", "r2", "r3", "r4"]


def test_threads_may_share_an_engine():
    """Each gets the answer to its own question."""
    engine = RuleEngine(entries(CHAIN))
    questions = [
        [Told(n, "fact", "frame", "carbon"), Told(n + 1, "finding", "c", "much")][: n % 3] for n in range(1, 40)
    ]
    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(engine.conclude, questions))
    assert answers == [RuleEngine(entries(CHAIN)).conclude(q) for q in questions]


PRINT = """
from test_rules import CHAIN, entries, some
from symptomtree.kb.model import Rule
from symptomtree.reasoning.rules import RuleEngine, Told
rules = CHAIN | {f"r{n}": Rule(when=[some("a"), some("b")], implies={"c": "much", "b": "some"}) for n in range(9)}
told = [Told(n, "finding", name, grade) for n, name in enumerate("abc", 1) for grade in ("some", "much")]
print(RuleEngine(entries(rules)).conclude([*told, Told(8, "fact", "frame", "carbon"), Told(9, "done", "wash")]))
"""


def test_every_run_gives_the_same_answer():
    """Sets order text differently in each process; that must not show."""
    tests = Path(__file__).parent
    env = {k: v for k, v in os.environ.items() if not k.startswith("PYTHONHASH")}
    env["PYTHONPATH"] = os.pathsep.join([str(tests), str(tests.parent)])
    answers = {
        subprocess.run([sys.executable, "-c", PRINT], capture_output=True, text=True, check=True, env=env).stdout
        for _ in range(4)
    }
    assert len(answers) == 1
    assert "r8" in answers.pop()
