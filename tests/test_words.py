"""Riders' own words lead to the right findings and facts: misspelt, turned round, denied, several at once."""

from pathlib import Path
from time import perf_counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from symptomtree.cases.files import read_case
from symptomtree.cases.model import Answer, Complaint
from symptomtree.kb.compile import open_knowledge
from symptomtree.reasoning.words import MOST, Matcher

ROOT = Path(__file__).parents[1]
KB = open_knowledge()
MATCHER = Matcher(KB)


def found(sentence, first=5):
    """Return name -> value of the first candidates."""
    return {c.name: c.value for c in reversed(MATCHER.candidates(sentence)[:first])}


@pytest.mark.parametrize(
    ("sentence", "expected"),
    [
        (
            "my back brake howls and the lever comes to the bar",
            {"brake-noise": "howl", "lever-travel": "to-bar", "which-end": "rear"},
        ),
        ("my frnt brake squeels like a pig", {"brake-noise": "squeak", "which-end": "front"}),
        ("the lever, to the bar it comes", {"lever-travel": "to-bar"}),
        ("brakes feel like a sponge", {"lever-spongy": "spongy"}),
        ("it does not squeal but the lever is spungy", {"lever-spongy": "spongy"}),
        ("the chian keeps skiping when i stand up", {"skips": "hard"}),
        ("tick tick tick goes my front wheel as it turns", {"brake-rub": "ticks", "which-end": "front"}),
        ("creeking bottom braket", {"creak-pedalling": "yes"}),
        ("cannot get the smallest cog", {"wont-reach-smallest": "yes"}),
        ("chian fell off to the outside and now it grinds", {"drops-outside-rings": "yes", "grind-pedalling": "yes"}),
        ("fitted new pads on Saturday", {"pads-just-changed": "yes"}),
    ],
)
def test_a_sentence_is_understood(sentence, expected):
    """Each finding and fact that the sentence tells is among the first five candidates, with its grade or value."""
    values = {}
    for c in MATCHER.candidates(sentence)[:5]:
        values.setdefault(c.name, set()).add(c.value)
    assert all(value in values.get(name, ()) for name, value in expected.items()), values


@pytest.mark.parametrize("sentence", ["the brake makes no squeal", "it doesn't squeal", "never squeals when braking"])
def test_a_denied_noise_is_no_noise(sentence):
    """What is denied never becomes evidence of the opposite: at most the normal grade is offered."""
    values = {c.value for c in MATCHER.candidates(sentence) if c.name == "brake-noise"}
    assert values == {"none"}


def test_back_as_a_direction_is_not_the_rear_end():
    """'The lever does not come back' says nothing of which end it is."""
    assert "which-end" not in found("the lever does not come back to the rest position")
    assert found("the lever of the back brake sticks")["which-end"] == "rear"


@pytest.mark.parametrize("sentence", ["", "   ", "the the of", "qwertz asdfgh", "?!...", "\x00\x1b[31m", "🚲🚲"])
def test_nothing_is_made_of_nothing(sentence):
    """Words without meaning give no candidates, and no error."""
    assert MATCHER.candidates(sentence) == []


def test_real_complaints_are_understood():
    """In 80 % of the published cases a symptom that the rider went on to confirm is among the first five candidates."""
    hits = []
    for path in sorted((ROOT / "tests" / "real_cases").glob("*.yaml")):
        case = read_case(path, KB)
        text = " ".join(e.text for e in case.events if isinstance(e, Complaint))
        told = {
            e.finding
            for e in case.events
            if isinstance(e, Answer) and e.finding in KB.entries.symptoms and e.grade != KB.grades(e.finding)[0]
        }
        if told:
            hits.append(not told.isdisjoint(found(text)))
    assert len(hits) >= 10
    assert sum(hits) >= 0.8 * len(hits)


@given(st.text(max_size=300))
def test_any_text_is_safe(text):
    """Candidates are few, ordered, known to the knowledge, and the same every time."""
    candidates = MATCHER.candidates(text)
    assert candidates == MATCHER.candidates(text)
    assert len(candidates) <= MOST
    assert [c.score for c in candidates] == sorted((c.score for c in candidates), reverse=True)
    for c in candidates:
        known = KB.entries.facts[c.name].values if c.kind == "fact" else KB.findings[c.name].grades
        assert c.value in known
        assert 0 < c.score <= 1


def test_the_longest_line_is_answered():
    """It takes a fraction of a second; the limit is far above that, and far below what would look like hanging."""
    start = perf_counter()
    MATCHER.candidates("lever brake wheel squeal " * 2000)
    assert perf_counter() - start < 10
