"""What comes next in a case: one thing at a time, the same whoever shows it."""

from dataclasses import dataclass
from typing import Literal

from symptomtree.cases.model import BESIDES, HAND_OVER, Answer, Reading, Unsure, conflict_name
from symptomtree.reasoning.assess import Assessment, Contradiction
from symptomtree.reasoning.context import settled_here
from symptomtree.reasoning.planning import Step

Kind = Literal[
    "complaint", "settle", "meanwhile", "retest", "follow", "clear", "besides", "step", "fix", "hand-over", "close"
]


@dataclass(frozen=True, slots=True)
class Turn:
    """One thing to ask or to do.

    Attributes:
        kind: complaint (hear what is wrong), settle (two answers do not fit), meanwhile (a fix that pays before the
            bike is put together), retest (look again after a fix), follow (due because of what was done), clear (the
            check that decides whether the bike may be ridden), besides (the job is done, something else came up),
            step (a question or check of the plan), fix (one of the plan), hand-over, close.
        name: id of the check, fix, question, symptom or fact it is about; empty for others.
        findings: what is to be looked at, for retest, follow and clear.
        step: of the plan, for step, fix and hand-over.
        contradiction: to settle.
        last: for a hand-over and a close, that nothing else is left.
    """

    kind: Kind
    name: str = ""
    findings: tuple[str, ...] = ()
    step: Step | None = None
    contradiction: Contradiction | None = None
    last: bool = False


def next_turn(a: Assessment) -> Turn:
    """Return what comes next: what cannot be true first, then safety and proof, then the plan."""
    left = a.state.left_out
    conflict = next((c for c in a.contradictions if conflict_name(c.numbers) not in left), None)
    clear = [s.until for s in a.standing_stops if not _waved(a, s.until) and not _looked(a, s.until)]
    follow = [name for name in a.follow if not _waved(a, name)]
    meanwhile = [r.fix for r in a.meanwhile if r.fix not in left]
    if conflict:
        return Turn("settle", contradiction=conflict)
    if meanwhile:
        return Turn("meanwhile", meanwhile[0])
    if a.due:
        return _retest(a)
    if follow and not clear:
        return Turn("follow", follow[0], _findings(a, follow[0]))
    if clear and (follow or a.stage == "done"):  # before any work that needs a ride
        return Turn("clear", clear[0], _findings(a, clear[0]))
    if a.stage == "complaint":
        return Turn("complaint")
    if a.stage == "done":
        return Turn("besides") if a.besides and BESIDES not in left else Turn("close")
    return _planned(a)


def take_up(a: Assessment) -> list[Answer | Reading]:
    """Return the events that make what came up besides a part of the job."""
    out: list[Answer | Reading] = []
    for finding in a.besides:
        look = a.state.seen[finding][-1]
        if look.value is None:
            out.append(Answer(finding=finding, grade=look.grade, complaint=True, sure=look.sure))
        else:
            out.append(Reading(finding=finding, value=look.value, error=look.error, complaint=True))
    return out


def _planned(a: Assessment) -> Turn:
    """Return the best step of the plan that the person has not left out.

    The plan's order decides, not the totals: what a rule puts first, or a fact without which the right questions stay
    closed, comes before handing anything over.
    """
    for step in a.steps:
        if step.doing == HAND_OVER and HAND_OVER not in a.state.left_out:
            others = [s for s in a.steps if s.doing != HAND_OVER and s.name not in a.state.left_out]
            return Turn("hand-over", step=step, last=not others)
        if step.doing != HAND_OVER and step.name not in a.state.left_out:
            return Turn("fix" if step.doing == "fix" else "step", step.name, step.settles, step)
    return Turn("close", last=True)


def _retest(a: Assessment) -> Turn:
    """Return the first thing due after a fix, with all that the same check shows."""
    settled_by = a.knowledge.settled_by
    check = settled_by.get(a.due[0])
    same = tuple(f for f in a.due if settled_by.get(f) == check) if check else a.due[:1]
    return Turn("retest", check or a.due[0], same)


def _findings(a: Assessment, name: str) -> tuple[str, ...]:
    """Return what a check settles on this bike; nothing for a fix."""
    checks = a.knowledge.entries.checks
    return tuple(settled_here(a.knowledge, name, a.facts)) if name in checks else ()


def _waved(a: Assessment, name: str) -> bool:
    """Return whether the person left something out, or could not tell since the last fix, or it is not on this bike."""
    if name in a.state.left_out or (name in a.knowledge.entries.checks and not _findings(a, name)):
        return True
    fixed = max((n for _, n in a.state.fixes), default=0)
    return name in a.state.unsure and Unsure(about=name) in a.events[fixed:]


def _looked(a: Assessment, check: str) -> bool:
    """Return whether a check was carried out since the last fix."""
    looks = [a.state.seen.get(f) for f in a.knowledge.entries.checks[check].settles]
    return any(seen and seen[-1].after == len(a.state.fixes) for seen in looks)
