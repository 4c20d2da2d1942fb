"""Cautions: each before what it belongs to, each once, in every front end.

The order is that of ANSI Z535.6-2011, "Product Safety Information in Product Manuals, Instructions, and Other
Collateral Materials": what holds for a whole section stands at its start, what holds for one step of a procedure
stands in the procedure, before that step (from memory).
"""

import re

import msgspec
import pytest
from small_knowledge import SMALL

from symptomtree.cases.model import Answer, Complaint
from symptomtree.kb.compile import compile_entries, open_knowledge
from symptomtree.kb.load import read
from symptomtree.kb.model import Access, Careful, Entries, Hazard
from symptomtree.plain import show
from symptomtree.plain.card import card_of
from symptomtree.plain.guide import guide
from symptomtree.reasoning.assess import Adviser
from symptomtree.reasoning.turn import Turn

KB = open_knowledge()
SMALL_ENTRIES = read({"k.yaml": SMALL.encode()}).entries
WORK = [*(("checks", name) for name in KB.entries.checks), *(("fixes", name) for name in KB.entries.fixes)]


def small(**changes):
    """Return the small knowledge with some changes to a fix, which is done with the wheel out."""
    dear = {"wheel-out": Access(name="wheel out", inside="on-stand", open=2, close=2, cautions=["Close the axle."])}
    stand = {"on-stand": Access(name="on the stand", open=1, close=1, hazards=["fall"])}
    hazards = {
        **SMALL_ENTRIES.hazards,
        "fall": Hazard(name="a fall", caution="Hold the bike."),
        "fumes": Hazard(name="fumes", caution="Air the room.", words=["Alcohol", "spirit"]),
    }
    rub = msgspec.structs.replace(SMALL_ENTRIES.fixes["rub-pads"], access="wheel-out", **changes)
    fixes = {**SMALL_ENTRIES.fixes, "rub-pads": rub}
    return compile_entries(
        msgspec.structs.replace(SMALL_ENTRIES, access={**stand, **dear}, hazards=hazards, fixes=fixes), "small"
    )


def test_each_caution_stands_before_what_it_belongs_to():
    """Getting there first, then the whole work; a hazard before the first step that says its word, else ahead."""
    steps = [
        "Loosen it.",
        Careful(mind="Only the outside.", do="Wipe with ALCOHOL."),
        "Alcohol again, off with the dust.",
        "No alcoholic word here.",
    ]
    kb = small(steps=steps, hazards=["fumes", "dust"], cautions=["No oil."])
    told = guide(kb, kb.entries.fixes["rub-pads"])
    assert told.ahead == ("Hold the bike.", "Close the axle.", "No oil.")
    assert told.steps == (
        ((), "Loosen it."),
        (("Air the room.", "Only the outside."), "Wipe with ALCOHOL."),
        (("Do not breathe it in.",), "Alcohol again, off with the dust."),
        ((), "No alcoholic word here."),
    )
    assert list(show.fix(kb, "rub-pads"))[-8:] == [
        "Steps:",
        "  1. Loosen it.",
        "  Caution: Air the room.",
        "  Caution: Only the outside.",
        "  2. Wipe with ALCOHOL.",
        "  Caution: Do not breathe it in.",
        "  3. Alcohol again, off with the dust.",
        "  4. No alcoholic word here.",
    ]


def test_a_hazard_that_no_step_speaks_of_comes_ahead_of_all():
    """The same when the way there has it: it is there before the first step."""
    kb = small(steps=["Rub.", "Wipe."], hazards=["fumes", "fall"])
    told = guide(kb, kb.entries.fixes["rub-pads"])
    assert told.ahead == ("Hold the bike.", "Close the axle.", "Air the room.")
    assert all(not cautions for cautions, _ in told.steps)


def test_the_same_caution_twice_is_told_once():
    """At its first place, whoever else has it."""
    glasses = [Careful(mind="Glasses on.", do="Cut."), Careful(mind="Glasses on.", do="File.")]
    twice = [Careful(mind="No oil.", do="Rub."), *glasses]
    kb = small(steps=twice, cautions=["Hold the bike.", "No oil."], hazards=[])
    told = guide(kb, kb.entries.fixes["rub-pads"])
    assert told.ahead == ("Hold the bike.", "Close the axle.", "No oil.")
    assert [cautions for cautions, _ in told.steps] == [(), ("Glasses on.",), ()]
    assert told.cautions == ("Hold the bike.", "Close the axle.", "No oil.", "Glasses on.")
    assert show.cautions(kb, [kb.entries.fixes["rub-pads"]] * 2) == list(told.cautions)


def test_a_step_with_its_caution_survives_the_cache():
    """What is kept is what was read, texts and pairs."""
    kb = small(steps=["Rub.", Careful(mind="Glasses on.", do="Cut.")])
    kept = msgspec.msgpack.decode(msgspec.msgpack.encode(kb.entries), type=Entries)
    assert kept == kb.entries
    assert kept.fixes["rub-pads"].steps[1] == Careful(mind="Glasses on.", do="Cut.")


def of_work(section, name):
    """Return a piece of shipped work: its entry, (caution, step) as written, its ways' cautions, and its own."""
    entry = getattr(KB.entries, section)[name]
    written = entry.how if section == "checks" else entry.steps
    steps = [s if isinstance(s, Careful) else Careful(mind="", do=s) for s in written]
    there, state = [], entry.access
    while state:
        way = KB.entries.access[state]
        there += [*(KB.entries.hazards[h].caution for h in way.hazards), *way.cautions]
        state = way.inside
    return entry, steps, set(there), set(entry.cautions)


def positions(lines, texts):
    """Return text -> the one line that says it after 'Caution:'."""
    at = {text: [n for n, line in enumerate(lines) if line.strip() == f"Caution: {text}"] for text in texts}
    assert all(len(found) == 1 for found in at.values()), at
    return {text: found[0] for text, found in at.items()}


@pytest.mark.parametrize("front", ["plain", "again", "terminal"])
def test_every_caution_that_ships_is_shown_once_and_in_time(front):
    """Over all checks and fixes: none is lost, none comes after a step that it belongs to, none comes twice."""
    a = Adviser(KB).assess([Complaint(text="x"), Answer(finding="brake-noise", grade="howl", complaint=True)])
    hazards = KB.entries.hazards
    seen = 0
    for section, name in WORK:
        if front == "terminal" and section == "checks":
            continue  # a check's card is the plain lines
        entry, steps, there, own = of_work(section, name)
        if front == "plain":
            lines = list(show.check(KB, name) if section == "checks" else show.fix(KB, name))
        elif front == "again":
            lines = list(show.how(KB, entry))
        else:
            card = card_of(a, Turn("fix", name))
            lines = list(card.about)
            for n, (cautions, step) in enumerate(card.steps, start=1):
                lines += [*(f"Caution: {c}" for c in cautions), f"  {n}. {step}"]
        wanted = {*there, *own, *(s.mind for s in steps if s.mind), *(hazards[h].caution for h in entry.hazards)}
        at = positions(lines, wanted)
        assert sum(line.strip().startswith("Caution: ") for line in lines) == len(wanted), name
        step_at = [lines.index(f"  {n}. {s.do}") for n, s in enumerate(steps, start=1)]
        assert step_at == sorted(step_at)
        assert all(at[caution] < step_at[0] for caution in there | own), name
        for n, step in enumerate(steps):
            if step.mind:
                assert at[step.mind] < step_at[n], (name, step.mind)
            for hazard in entry.hazards:
                if any(re.search(rf"\b{re.escape(w)}\b", step.do, re.IGNORECASE) for w in hazards[hazard].words):
                    assert at[hazards[hazard].caution] < step_at[n], (name, hazard)
        seen += len(wanted)
    assert seen > 500
