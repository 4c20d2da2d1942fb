"""Riders' own words lead to the right findings and facts: misspelt, turned round, denied, several at once."""

from pathlib import Path
from time import perf_counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from symptomtree.kb.compile import open_knowledge
from symptomtree.plain.complaint import MOST_SHOWN
from symptomtree.reasoning.words import MOST, Matcher
from tests.bench.words import Told, held_out, own_words, place, published, without
from tests.sentences import HELD_OUT

ROOT = Path(__file__).parents[1]
KB = open_knowledge()
MATCHER = Matcher(KB)


def found(sentence):
    """Return name -> values of the findings among the first five candidates, and of the facts that are shown."""
    values = {}
    for n, c in enumerate(MATCHER.candidates(sentence)[:MOST_SHOWN]):
        if n < 5 or c.kind == "fact":
            values.setdefault(c.name, set()).add(c.value)
    return values


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
        ("chian fell off and now it grinds", {"one-chain-falls-off": "yes", "grind-pedalling": "yes"}),
        ("it does not click when coasting, only when I pedal", {"click-pedalling": "yes"}),
        ("only squeals when coasting", {"squeak-rolling": "yes"}),
        ("since I fitted a new chain it jumps", {"skips": "gentle", "new-chain": "yes"}),
        ("no squeal any more but it shudders", {"brake-judder": "judder", "brake-noise": "none"}),
        ("chian fell off to the outside and now it grinds", {"drops-outside-rings": "yes", "grind-pedalling": "yes"}),
        ("fitted new pads on Saturday", {"pads-just-changed": "yes"}),
    ],
)
def test_a_sentence_is_understood(sentence, expected):
    """Each finding that the sentence tells is among the first five candidates, and each fact is among those shown."""
    values = found(sentence)
    assert all(value in values.get(name, ()) for name, value in expected.items()), values


@pytest.mark.parametrize("sentence", ["the brake makes no squeal", "it doesn't squeal", "never squeals when braking"])
def test_a_denied_noise_is_no_noise(sentence):
    """What is denied never becomes evidence of the opposite: at most the normal grade is offered."""
    values = {c.value for c in MATCHER.candidates(sentence) if c.name == "brake-noise"}
    assert values == {"none"}


def test_back_as_a_direction_is_not_the_rear_end():
    """'The lever does not come back' says nothing of which end it is."""
    assert "which-end" not in found("the lever does not come back to the rest position")
    assert found("the lever of the back brake sticks")["which-end"] == {"rear"}


def test_a_back_brake_is_no_back_pedal_brake():
    """Only the word order tells them apart: 'the back brake', 'pedal back to brake'."""
    for sentence in ("my back brake howls", "the rear brake", "back brake drags"):
        assert "brake-type" not in found(sentence), sentence
    for sentence in ("my back-pedal brake howls", "it has a backpedal brake", "I pedal back to brake"):
        assert found(sentence)["brake-type"] == {"back-pedal"}, sentence


@pytest.mark.parametrize(
    ("sentence", "name"),
    [
        ("it will not get into the smallest cog", "wont-reach-smallest"),
        ("I can't get my shoe off the pedal", "foot-stays-locked"),
        ("the pads hiss on the disc while I am not braking", "brake-rub"),
        ("the lock-out will not work", "lockout-dead"),
    ],
)
def test_what_cannot_be_done_is_not_denied(sentence, name):
    """A thing that does not work, or a noise while something else is not done, is a complaint."""
    first = [(c.name, c.value) for c in MATCHER.candidates(sentence)[:5]]
    assert any(n == name and value != KB.grades(name)[0] for n, value in first), first


@pytest.mark.parametrize(
    ("sentence", "name", "fact"),
    [
        ("I replaced the chain last week and the gears jump", "skips", "new-chain"),
        ("Since I fitted new brake pads the headset knocks.", "front-knock", "pads-just-changed"),
        ("after we mended the puncture the brake rubs", "brake-rub", "wheel-was-out"),
    ],
)
def test_what_was_done_comes_after_what_is_wrong(sentence, name, fact):
    """What someone did to the bike is heard as a fact, and is no complaint of its own."""
    candidates = MATCHER.candidates(sentence)
    assert candidates[0].name == name, candidates
    assert fact in found(sentence), candidates


@pytest.mark.parametrize("sentence", ["", "   ", "the the of", "qwertz asdfgh", "?!...", "\x00\x1b[31m", "🚲🚲"])
def test_nothing_is_made_of_nothing(sentence):
    """Words without meaning give no candidates, and no error."""
    assert MATCHER.candidates(sentence) == []


def test_made_up_sentences_are_understood():
    """Of sentences that nothing was written from, over all areas: a right symptom is among the first five in 90 %."""
    places = [place(MATCHER, KB, told) for told in held_out()]
    assert len(places) >= 40
    assert sum(n <= 5 for n in places) >= 0.9 * len(places)


def test_what_was_done_before_is_heard_too():
    """'After I fitted ...' offers the fact, in two thirds of the made-up sentences that tell one."""
    told = [(words, *fact.split("=")) for words, _, fact in HELD_OUT if fact]
    heard = [value in found(words).get(name, ()) for words, name, value in told]
    assert sum(heard) >= 2 / 3 * len(heard)


def test_real_complaints_are_understood_without_their_own_words():
    """In 95 % of the published cases, with the case's own words kept out of the knowledge too."""
    cases = list(published(KB, ROOT / "tests" / "real_cases"))
    assert len(cases) >= 30
    assert sum(place(MATCHER, KB, told) <= 5 for told in cases) >= 0.95 * len(cases)
    apart = [place(Matcher(without(KB, own_words, told)), KB, told) for told in cases]
    assert sum(n <= 5 for n in apart) >= 0.95 * len(cases)


def test_own_words_are_kept_out():
    """A phrase goes that has three content words in a row from the complaint, or stands there whole; others stay."""
    told = Told("", "The front brake howls badly and the lever comes to the bar.", frozenset({"brake-noise"}))
    for phrase in ("brake howls", "lever comes to the bar", "how badly the lever comes to bars"):
        assert own_words(phrase, told, "brake-noise"), phrase
    for phrase in ("howls", "howls when braking", "bar lever", "the lever feels soft"):
        assert not own_words(phrase, told, "brake-noise"), phrase


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
