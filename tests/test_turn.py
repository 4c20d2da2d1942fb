"""What comes next, one thing at a time; and what was left out stays left out, also after a restart."""

from pathlib import Path

import pytest

from symptomtree.cases.files import BadCase, read_case, write_case
from symptomtree.cases.model import Answer, AnyEvent, Case, Context, Correction, FixDone, LeftOut
from symptomtree.kb.compile import open_knowledge
from symptomtree.plain.card import card_of
from symptomtree.plain.show import NO_RIDE
from symptomtree.reasoning.assess import Adviser
from symptomtree.reasoning.turn import Turn, next_turn

KB = open_knowledge()
ADVISER = Adviser(KB)
SLOW = Answer(finding="slow-to-bigger", grade="slow", complaint=True)


def turn(*events: AnyEvent):
    return next_turn(ADVISER.assess(events))


def test_a_case_begins_with_a_complaint_and_goes_on_with_the_plan():
    assert turn().kind == "complaint"
    first = turn(SLOW)
    assert first.kind in ("step", "fix")
    assert first.step == ADVISER.assess([SLOW]).steps[0]


def test_a_fix_that_is_left_out_is_not_proposed_again_until_it_was_done():
    facts = (Context(fact="gears", value="derailleur"), Context(fact="shift-by", value="cable"))
    plan = ADVISER.assess((*facts, SLOW)).fixes
    left = tuple(LeftOut(about=rank.fix) for rank in plan)
    seen = set()
    events: tuple[AnyEvent, ...] = (*facts, SLOW, *left)
    for _ in range(60):
        t = turn(*events)
        seen.add(t.name)
        if t.kind not in ("step", "fix") or t.step is None:
            break
        events = (*events, LeftOut(about=t.name)) if t.kind == "fix" else (*events, *_normal(t.findings, t.name))
    assert not seen & {rank.fix for rank in plan}
    done = ADVISER.assess((*facts, SLOW, *left, FixDone(fix=plan[0].fix)))
    assert plan[0].fix not in done.state.left_out


def _normal(findings, name):
    if not findings:
        values = KB.entries.facts[name].values
        return [Context(fact=name, value=next(iter(values)))]
    return [Answer(finding=f, grade=KB.grades(f)[0]) for f in findings]


def test_leaving_out_can_be_taken_back():
    first = turn(SLOW)
    events = (SLOW, LeftOut(about="hand-over"), Correction(number=2))
    assert turn(*events) == first
    assert not ADVISER.assess(events).state.left_out


def test_a_contradiction_comes_first_and_can_be_left_standing():
    """Worse after the work than before it cannot be averaged; the person may leave it so."""
    events = (SLOW, FixDone(fix="index-gears"), Answer(finding="slow-to-bigger", grade="never"))
    t = turn(*events)
    assert t.kind == "settle"
    assert t.contradiction is not None
    name = "events-" + "-".join(str(n) for n in t.contradiction.numbers)
    assert turn(*events, LeftOut(about=name)).kind != "settle"


def test_a_check_that_clears_a_stop_comes_before_the_end():
    """The lever reached the bar and is right again: what decides whether the bike may be ridden is still to be done."""
    bar = Answer(finding="lever-travel", grade="to-bar", complaint=True)
    hydraulic = Context(fact="brake-type", value="hydraulic-disc")
    fix = ADVISER.assess([hydraulic, bar]).fixes[0].fix
    events: tuple[AnyEvent, ...] = (hydraulic, bar, FixDone(fix=fix))
    kinds = []
    for _ in range(30):
        t = turn(*events)
        kinds.append(t.kind)
        if t.kind == "close":
            break
        if t.kind == "follow" and not t.findings:
            events = (*events, FixDone(fix=t.name))
        elif t.kind in ("meanwhile", "besides"):
            events = (*events, LeftOut(about=t.name or "besides"))
        else:
            events = (*events, *(Answer(finding=f, grade=KB.grades(f)[0]) for f in t.findings))
    assert kinds[-1] == "close"
    assert "clear" in kinds
    assert not ADVISER.assess(events).standing_stops


def test_what_is_left_out_is_kept_with_the_case_and_must_be_known(tmp_path: Path):
    case = Case(symptomtree_case=1, title="t", events=[SLOW, LeftOut(about="hand-over"), LeftOut(about="events-1-3")])
    write_case(tmp_path / "a.yaml", case)
    assert read_case(tmp_path / "a.yaml", KB).events == case.events
    write_case(tmp_path / "b.yaml", Case(symptomtree_case=1, title="t", events=[LeftOut(about="index-gear")]))
    with pytest.raises(BadCase, match=r"b\.yaml:\d+:\d+: C201 event 1: nothing that can be left out is called"):
        read_case(tmp_path / "b.yaml", KB)


def test_work_with_a_ride_in_it_says_that_the_ride_has_to_wait_while_a_stop_stands():
    """A lever at the bar: no drying the brake with a few stops before the standing test is in order."""
    told = (
        Context(fact="brake-type", value="hydraulic-disc"),
        Answer(finding="brake-noise", grade="howl", complaint=True),
    )
    to_bar = Answer(finding="lever-travel", grade="to-bar", complaint=True)
    free, stopped = ADVISER.assess(told), ADVISER.assess((*told, to_bar))
    assert stopped.standing_stops
    until = KB.name_of(stopped.standing_stops[0].until)
    for a, waits in ((free, False), (stopped, True)):
        first = card_of(a, Turn("fix", "leave-wet-alone")).about[0]
        assert first.startswith(NO_RIDE) == waits
        assert (until in first) == waits
    check = stopped.standing_stops[0].until
    clear = Turn("clear", check, tuple(KB.entries.checks[check].settles))
    assert not any(NO_RIDE in line for line in card_of(stopped, clear).about)
