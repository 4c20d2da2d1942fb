"""The deep vetting: each rule finds its slip in a small knowledge; of what ships, each check confirms its cause."""

import numpy as np
import pytest
from small_knowledge import SMALL

from symptomtree.kb.compile import compile_entries, open_knowledge
from symptomtree.kb.load import read
from symptomtree.kb.vet import vet
from symptomtree.reasoning.confirming import confirmations
from symptomtree.trials.bikes import draw_having
from symptomtree.trials.deep import CONFIRMS_FROM, vet_deeply


def deep(*changes: tuple[str, str]) -> list[str]:
    text = SMALL
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    draft = read({"k.yaml": text.encode()})
    assert vet(draft) == []
    return [str(problem) for problem in vet_deeply(draft)]


COMMON = ("common: {p: 0.05, source: from-memory}", "common: very-common")
SURE = ("leak: {thin: very-unlikely, gone: almost-no-chance}", "leak: {thin: almost-no-chance, gone: almost-no-chance}")
WEAK = (SURE[0], "leak: {thin: very-unlikely, gone: very-unlikely}")
VAGUE = ("leak: almost-no-chance\n", "leak: unlikely\n")
FELT = ("    asked-when: {squeal: [some, loud]}\n", "")


def test_the_small_knowledge_has_no_deep_problem():
    """So each problem below comes from what was spoilt."""
    assert deep(COMMON, SURE, FELT) == []


def test_a_check_that_does_not_confirm_is_told():
    """The lining is gone on every eighth bike for no reason, so that its loss says little, as does the symptom."""
    (found,) = [line for line in deep(WEAK, VAGUE, FELT) if "K402" in line]
    assert "k.yaml:76:5: K402 after its own check and one symptom it stands at" in found


def test_a_cause_that_nobody_brings_is_told():
    """Whoever has it notices nothing that stands for itself."""
    assert any("K403 none of 60 bikes with it" in line for line in deep(COMMON, SURE))


def test_what_no_symptom_leads_to_is_told():
    """A check that settles only what a rule looks at, and that nothing names."""
    lonely = (
        "causes:\n",
        "  tap-the-bell:\n    name: Tap the bell\n    part: bike\n    how: [Tap it.]\n    minutes: 1\n    settles:\n"
        "      bell: {ask: Does it ring?, grades: {yes: yes, no: no}, leak: unlikely}\ncauses:\n",
    )
    rule = (
        "rules:\n",
        "rules:\n  mute:\n    when: [{finding: bell, is: [no]}]\n    hand-over: A bell is for a workshop.\n",
    )
    found = deep(COMMON, SURE, FELT, lonely, rule)
    assert {line.split()[1] for line in found} == {"K401", "K404"}
    assert any("no way from any symptom comes to 'tap-the-bell'" in line for line in found)


def test_an_exception_lets_a_deep_problem_stand():
    """And one that nothing needs is told by the deep vetting alone."""
    stands = ("sources:\n", "exceptions: {x: {code: K402, entries: [worn], because: So it is.}}\nsources:\n")
    assert not any("K402" in line for line in deep(WEAK, VAGUE, FELT, stands))
    assert any("K327 K402 has nothing to say of 'worn'" in line for line in deep(COMMON, SURE, FELT, stands))


def test_what_ships_is_confirmed_by_its_checks():
    """After its own check and one symptom each cause is as good as known, but for those judged one by one."""
    kb = open_knowledge()
    judged = {e for x in kb.entries.exceptions.values() if x.code == "K402" for e in x.entries}
    weak = {c.cause for c in confirmations(kb) if c.probability < CONFIRMS_FROM}
    assert weak == judged


@pytest.mark.parametrize("cause", ["worn", "glazed"])
def test_a_bike_drawn_for_a_cause_has_it(cause):
    """And its rider comes with something that the cause makes."""
    text = SMALL.replace(*FELT, 1)
    kb = compile_entries(read({"k.yaml": text.encode()}).entries, "")
    for n in range(20):
        bike = draw_having(kb, np.random.default_rng(n), cause, 60)
        assert bike is not None
        assert kb.row[cause] in bike.causes
        assert bike.levels[list(bike.causes).index(kb.row[cause]), kb.column[bike.complaint]] > 0
        assert bike.facts["kind"] in ("disc", "drum")
