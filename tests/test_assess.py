"""`assess`: pure, safety first, nothing asked that is known, nothing averaged that does not fit."""

import itertools
import random
from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from small_knowledge import SMALL

from symptomtree.cases.model import Answer, AnyEvent, Context, Correction, FixDone, Note, Reading, Unsure
from symptomtree.kb.compile import open_knowledge
from symptomtree.reasoning.assess import Adviser, Assessment
from symptomtree.reasoning.costs import PART_WORTH, access_path

HOWL = (
    Context(fact="brake-type", value="hydraulic-disc"),
    Context(fact="which-end", value="rear"),
    Answer(finding="brake-noise", grade="howl"),
    Answer(finding="lever-travel", grade="to-bar"),
)


def chance(a: Assessment, cause: str) -> float:
    return next((s.probability for s in a.causes if s.cause == cause), 0.0)


def test_nothing_said_is_nothing_concluded(adviser: Adviser) -> None:
    """An empty case waits for a complaint."""
    a = adviser.assess([])
    assert (a.stage, a.causes, a.stops) == ("complaint", (), ())


def test_same_events_same_answer(adviser: Adviser) -> None:
    """A fresh adviser and a used one agree to the last digit."""
    other = Adviser(adviser.knowledge)
    other.assess([Answer(finding="lever-travel", grade="long"), Answer(finding="brake-noise", grade="squeak")])
    first, second = adviser.assess(HOWL), other.assess(HOWL)
    assert first.causes == second.causes
    assert first.steps == second.steps


def test_order_of_answers_does_not_matter(adviser: Adviser) -> None:
    """Facts and findings may come in any order."""
    events = list(HOWL)
    want = adviser.assess(events)
    random.Random(3).shuffle(events)
    got = adviser.assess(events)
    assert {s.cause: pytest.approx(s.probability, abs=1e-12) for s in want.causes} == {
        s.cause: s.probability for s in got.causes
    }


def test_a_lever_at_the_bar_stops_the_ride_at_once(adviser: Adviser) -> None:
    """The rule fires on the answer itself, before any check."""
    a = adviser.assess(HOWL)
    assert a.standing_stops
    assert a.standing_stops[0].conclusion.told


def test_a_stop_stays_until_its_check_clears_it(adviser: Adviser) -> None:
    """Correcting nothing and fixing something does not clear a stop; its named check, found normal later, does."""
    kb = adviser.knowledge
    a = adviser.assess(HOWL)
    check = a.standing_stops[0].until
    fixed: list[AnyEvent] = [*HOWL, FixDone(fix=a.fixes[0].fix)]
    assert adviser.assess(fixed).standing_stops
    normal = [Answer(finding=f, grade=kb.grades(f)[0]) for f in kb.entries.checks[check].settles]
    after = adviser.assess([*fixed, *normal])
    assert all(s.until != check for s in after.standing_stops)
    assert any(s.cleared for s in after.stops)


def test_what_is_known_is_not_asked(adviser: Adviser) -> None:
    """No step settles only what was answered, told or given up on."""
    events = [*HOWL, Unsure(about="lever-spongy")]
    known = {"brake-type", "which-end", "brake-noise", "lever-travel", "lever-spongy"}
    for step in adviser.assess(events).steps:
        assert step.name not in known
        assert not step.settles or set(step.settles) - known


def test_no_hydraulic_question_on_a_cable_brake(adviser: Adviser) -> None:
    """What cannot be on the bike is neither suspected nor looked for."""
    events = [Context(fact="brake-type", value="rim"), *HOWL[1:]]
    a = adviser.assess(events)
    assert chance(a, "hose-air") == 0
    assert all("bubbles" not in s.settles for s in a.steps)


def test_a_later_answer_corrects_an_earlier_one(adviser: Adviser) -> None:
    """Answering again, correcting by number, and having said it right at once are the same."""
    said = [*HOWL, Answer(finding="lever-spongy", grade="spongy")]
    right = adviser.assess([*HOWL, Answer(finding="lever-spongy", grade="firm")])
    again = adviser.assess([*said, Answer(finding="lever-spongy", grade="firm")])
    corrected = adviser.assess([*said, Correction(number=5, grade="firm")])
    assert right.causes == again.causes == corrected.causes


def test_taking_back_is_as_if_it_was_never_said(adviser: Adviser) -> None:
    """An empty correction removes; a correction of the correction brings it back."""
    said = [*HOWL, Answer(finding="lever-spongy", grade="spongy")]
    assert adviser.assess([*said, Correction(number=5)]).causes == adviser.assess(HOWL).causes
    back = [*said, Correction(number=5), Correction(number=6)]
    assert adviser.assess(back).causes == adviser.assess(said).causes


def test_a_note_changes_nothing(adviser: Adviser) -> None:
    """Notes are for people."""
    assert adviser.assess([*HOWL, Note(text="[b]\x1b[31mred")]).causes == adviser.assess(HOWL).causes


def test_a_reading_near_a_limit_is_partly_in_the_next_grade(adviser: Adviser) -> None:
    """0.72 % +-0.05 on a chain with limits from 0.5 or 0.75 % believes less than 0.80 and more than 0.60."""
    kb = adviser.knowledge
    finding = next(
        f for f in kb.findings if f.startswith("chain-wear") and getattr(kb.findings[f], "reading", None)
        and 0.75 in kb.findings[f].reading.limits.values()  # type: ignore[union-attr]
    )  # fmt: skip
    base = [Answer(finding="skips", grade=kb.grades("skips")[-1])] if "skips" in kb.findings else []
    p = [chance(adviser.assess([*base, Reading(finding=finding, value=v)]), "worn-chain") for v in (0.60, 0.72, 0.80)]
    assert p[0] < p[1] < p[2]


def test_worse_after_the_work_is_said_and_not_averaged(adviser: Adviser) -> None:
    """A retest that is worse is a contradiction or a new fault; the earlier look no longer counts."""
    worse = [
        Answer(finding="brake-noise", grade="squeak"),
        FixDone(fix=adviser.assess(HOWL).fixes[0].fix),
        Answer(finding="brake-noise", grade="howl"),
    ]
    a = adviser.assess([*HOWL[:2], *worse])
    assert any(c.numbers == (3, 5) for c in a.contradictions)


def test_still_there_after_a_fix_lowers_what_it_would_have_cured(adviser: Adviser) -> None:
    """Persistence: the same symptom again is no new evidence, but the fix that did not help is."""
    a = adviser.assess(HOWL[:3])
    fix = next(f for f in a.fixes if f.causes and adviser.knowledge.entries.fixes[f.fix].kind != "hand-over")
    cause = fix.causes[0]
    still = adviser.assess([*HOWL[:3], FixDone(fix=fix.fix), Answer(finding="brake-noise", grade="howl")])
    assert chance(still, cause) < chance(a, cause)


def test_gone_after_a_fix_ends_the_search(adviser: Adviser) -> None:
    """Everything that was wrong looked at again and normal: done; and the cause was among what the fix removes."""
    a = adviser.assess(HOWL[:3])
    fix = a.fixes[0]
    gone = adviser.assess([*HOWL[:3], FixDone(fix=fix.fix), Answer(finding="brake-noise", grade="none")])
    assert gone.stage == "done"
    cured = [s for s in gone.causes if s.cause in fix.causes]
    assert max(s.ever for s in cured) > max(s.probability for s in a.causes if s.cause in fix.causes)


def test_a_retest_is_due_after_a_fix(adviser: Adviser) -> None:
    """What the fix could have changed is looked at again before anything else."""
    a = adviser.assess([*HOWL[:3], FixDone(fix=adviser.assess(HOWL[:3]).fixes[0].fix)])
    assert a.stage == "retest"
    assert "brake-noise" in a.due


def test_contributions_explain_the_ranking(adviser: Adviser) -> None:
    """What a finding adds is the difference that leaving it out makes."""
    a = adviser.assess(HOWL)
    cause = a.causes[0].cause
    finding, weight = a.evidence_for(cause)[0]
    without = adviser.assess([e for e in HOWL if getattr(e, "finding", None) != finding])
    p, q = chance(a, cause), chance(without, cause) or float(without.model.prior[adviser.knowledge.row[cause]])
    assert weight == pytest.approx(np.log(p / (1 - p)) - np.log(q / (1 - q)), abs=1e-6)


def test_what_would_change_the_order_does(adviser: Adviser) -> None:
    """Each finding named as one that would put the second cause first does so when it is seen."""
    a = adviser.assess(HOWL)
    first, second = a.causes[0].cause, a.causes[1].cause
    changes = a.would_change(first, second)
    assert changes
    for finding, grade in changes:
        then = adviser.assess([*HOWL, Answer(finding=finding, grade=grade)])
        assert chance(then, second) > chance(then, first)


def test_steps_are_ranked_by_expected_cost(adviser: Adviser) -> None:
    """Apart from facts without which the right questions cannot be asked, the cheapest way comes first."""
    a = adviser.assess(HOWL)
    first = {c.target for c in a.conclusions if c.kind == "do-first"}
    totals = [s.total for s in a.steps if s.name not in first]
    assert all(then > now - 1e-6 for now, then in pairwise(totals))
    assert all(s.total >= s.cost - 1e-9 for s in a.steps)


def test_a_due_check_is_done_when_all_that_can_be_on_this_bike_was_looked_at(adviser: Adviser) -> None:
    """One check settles a finding for ten sprockets and one for eleven; no bike has both."""
    events: list[AnyEvent] = [
        Context(fact="sprocket-count", value="up-to-ten"),
        Answer(finding="skips", grade="hard"),
        FixDone(fix="replace-ring"),
    ]
    assert "measure-chain-wear" in adviser.assess(events).follow
    events.append(Answer(finding="chain-wear-ten", grade="worn"))
    assert "measure-chain-wear" not in adviser.assess(events).follow


def test_a_check_is_not_due_because_of_what_it_found_itself(adviser: Adviser) -> None:
    """A tyre found scuffed by a block would else be looked at for ever."""
    a = adviser.assess(
        [
            Context(fact="brake-type", value="rim"),
            Answer(finding="block-left", grade="enough"),
            Answer(finding="block-height", grade="high"),
            Answer(finding="tyre-wall", grade="scuffed"),
            Answer(finding="block-low", grade="no"),
        ]
    )
    assert a.standing_stops
    assert a.follow == ()


CAME_WITH = (
    Context(fact="gears", value="derailleur"),
    Answer(finding="slow-to-bigger", grade="slow", complaint=True),
)


def test_what_only_came_up_on_the_way_is_told_and_not_chased(adviser: Adviser) -> None:
    """The rider came with slow shifting; a stiff jockey wheel seen on the way is no reason to go on when it is gone."""
    found = (*CAME_WITH, Answer(finding="jockey-stiff", grade="yes"), Answer(finding="chain-dirty", grade="caked"))
    searching = adviser.assess(found)
    assert (searching.stage, searching.job) == ("search", ("slow-to-bigger",))
    assert set(searching.besides) == {"jockey-stiff", "chain-dirty"}
    mended = (*found, FixDone(fix="index-gears"), Answer(finding="slow-to-bigger", grade="no"))
    done = adviser.assess(mended)
    assert done.stage == "done"
    assert set(done.besides) == {"jockey-stiff", "chain-dirty"}
    taken_up = adviser.assess((*mended, Answer(finding="chain-dirty", grade="caked", complaint=True)))
    assert (taken_up.stage, taken_up.job) == ("search", ("chain-dirty",))


def test_what_stops_the_ride_is_always_part_of_the_job(adviser: Adviser) -> None:
    """Nobody came with the lever that reaches the bar, and it is put right all the same."""
    a = adviser.assess((*CAME_WITH, HOWL[0], Answer(finding="lever-travel", grade="to-bar")))
    assert set(a.job) == {"slow-to-bigger", "lever-travel"}


def test_a_case_that_does_not_say_what_the_rider_wants_is_about_all_that_was_found(adviser: Adviser) -> None:
    a = adviser.assess((CAME_WITH[0], Answer(finding="slow-to-bigger", grade="slow"), *HOWL))
    assert set(a.job) == {"slow-to-bigger", "brake-noise", "lever-travel"}
    assert a.besides == ()


def test_work_of_the_hands_is_tried_twice_and_a_new_part_once(adviser: Adviser) -> None:
    """Cleaning may be done badly; the same new chain again would not help. Nothing is offered a third time."""
    kb = adviser.knowledge
    offered, tried = set(), Counter[str]()
    for fix, entry in kb.entries.fixes.items():
        if entry.kind == "hand-over" or not kb.fixed_by[fix] or tried[entry.kind] == 6:
            continue
        tried[entry.kind] += 1
        cause = kb.entries.causes[kb.fixed_by[fix][0]]
        shown = next((f for f in cause.shows if f in kb.entries.symptoms), None)
        if shown is None:
            continue
        seen = Answer(finding=shown, grade=kb.grades(shown)[-1], complaint=True)
        for times in (1, 2):
            events: list[AnyEvent] = [seen, *([FixDone(fix=fix), seen] * times)]
            if any(rank.fix == fix for rank in adviser.assess(events).fixes):
                offered.add((entry.kind, times))
    assert offered == {("clean", 1), ("adjust", 1), ("repair", 1)}


def test_work_that_may_not_fit_the_bike_waits_for_the_fact(adviser: Adviser) -> None:
    """Before a fix whose cause needs a fact of the bike is offered, the fact is asked."""
    kb = adviser.knowledge
    for symptom, entry in kb.entries.symptoms.items():
        if entry.asked_when:
            continue
        a = adviser.assess([Answer(finding=symptom, grade=kb.grades(symptom)[-1], complaint=True)])
        step = a.steps[0]
        if step.doing == "fix":
            likely = [c.cause for c in a.causes if c.probability > 0.05 and c.cause in kb.fixed_by[step.name]]
            assert all(fact in a.facts for c in likely for fact in kb.needs[c]), (symptom, step.name)


def test_what_is_open_is_used_before_it_is_put_together(adviser: Adviser) -> None:
    """The sprockets are off and two causes behind them are likely: both are seen to before the bike is ridden again.
    Work done in one go is proven in one go."""
    kb = adviser.knowledge
    pairs = [
        (x, y)
        for x, y in itertools.permutations(kb.entries.fixes, 2)
        if kb.entries.fixes[x].access == kb.entries.fixes[y].access is not None and kb.fixed_by[x] and kb.fixed_by[y]
    ]
    met = 0
    for x, y in pairs:
        first, second = (kb.entries.causes[kb.fixed_by[f][0]] for f in (x, y))
        both = [f for f in first.shows if f in second.shows and f in kb.entries.symptoms]
        own = [f for f in second.shows if f in kb.settled_by]
        if not both or not own or met == 2:
            continue
        seen = [Answer(finding=f, grade=kb.grades(f)[-1], complaint=f == both[0]) for f in (both[0], *own)]
        a = adviser.assess([*seen, FixDone(fix=x)])
        if any(rank.fix == y for rank in a.meanwhile):
            met += 1
            after = adviser.assess([*seen, FixDone(fix=x), FixDone(fix=y)])
            assert set(a.due) <= set(after.due)
            assert after.stage == "retest"
            assert y not in {rank.fix for rank in after.meanwhile}
            gone = [Answer(finding=f, grade=kb.grades(f)[0]) for f in after.due]
            assert adviser.assess([*seen, FixDone(fix=x), FixDone(fix=y), *gone]).due == ()
        assert not adviser.assess(seen).meanwhile  # nothing was done yet
    assert met


def test_what_can_be_looked_at_as_the_bike_stands_is_due_before_the_ride(adviser: Adviser) -> None:
    kb = adviser.knowledge
    seen = [Answer(finding="brake-noise", grade="howl", complaint=True), Answer(finding="disc-wipe", grade="greasy")]
    for fix, entry in kb.entries.fixes.items():
        proofs = [t for t in entry.retest if t in kb.entries.checks and kb.entries.checks[t].access == entry.access]
        if entry.access is None or not proofs:
            continue
        behind = [f for t in proofs for f in kb.entries.checks[t].settles]
        a = adviser.assess([*seen, *(Answer(finding=f, grade=kb.grades(f)[-1]) for f in behind), FixDone(fix=fix)])
        reached = [f in behind for f in a.due]
        assert reached == sorted(reached, reverse=True), (fix, a.due)


def test_minutes_are_counted_once_for_a_check_and_an_opening(adviser: Adviser) -> None:
    """Two findings of one check, then a fix behind the same access: the check once, the opening once (sums derived)."""
    kb = adviser.knowledge
    ways = {e.access: f for f, e in kb.entries.fixes.items() if e.access and e.access != "on-the-stand"}
    check = next(c for c in kb.entries.checks.values() if c.access in ways and len(c.settles) > 1)
    fix = ways[check.access]
    looks = [Answer(finding=f, grade=next(iter(o.grades))) for f, o in list(check.settles.items())[:2]]
    told = Answer(finding="brake-noise", grade="howl", complaint=True)
    done = kb.entries.fixes[fix]
    state = adviser.assess([told, *looks, FixDone(fix=fix)]).state
    opening = sum(kb.entries.access[a].open + kb.entries.access[a].close for a in access_path(kb, check.access))
    assert state.minutes == pytest.approx(check.minutes + opening + done.minutes + 1)
    assert state.parts == PART_WORTH[done.price]
    again = adviser.assess([told, *looks, FixDone(fix=fix), Answer(finding="brake-noise", grade="none")]).state
    assert again.minutes == state.minutes  # trying it is the fix's own retest


def test_a_rule_may_put_a_check_first_before_anything_is_found(tmp_path: Path) -> None:
    """Its conditions are facts only, so it holds while no cause is in question yet."""
    rule = "  early:\n    when: [{fact: kind, is: [disc]}]\n    do-first: [look-at-pads]\nsources:\n"
    (tmp_path / "small.yaml").write_text(SMALL.replace("sources:\n", rule))
    a = Adviser(open_knowledge(tmp_path)).assess([Context(fact="kind", value="disc")])
    assert a.stage == "complaint"
    assert a.steps[0].name == "look-at-pads"


def test_what_two_rules_put_first_is_put_first(tmp_path: Path) -> None:
    """Named by both it is still one check, ahead of what is cheaper."""
    rule = "  {}:\n    when: [{{fact: kind, is: [disc]}}]\n    do-first: [look-at-pads]\n"
    rules = "".join(rule.format(name) for name in ("early", "again"))
    (tmp_path / "small.yaml").write_text(SMALL.replace("sources:\n", f"{rules}sources:\n"))
    told = [Context(fact="kind", value="disc"), Answer(finding="squeal", grade="some")]
    a = Adviser(open_knowledge(tmp_path)).assess(told)
    assert a.steps[0].name == "look-at-pads"
    assert any(s.total < a.steps[0].total for s in a.steps)
