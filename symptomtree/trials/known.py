"""What a bike costs someone who knows from the start what is wrong with it: no advice can do better."""

from collections.abc import Iterable

from symptomtree.kb.compile import KnowledgeBase
from symptomtree.reasoning.costs import PART_WORTH, Profile, access_minutes, access_path, price_of
from symptomtree.reasoning.planning import left_to_try
from symptomtree.trials.bikes import Bench


def known_cost(kb: KnowledgeBase, bench: Bench, profile: Profile) -> float:
    """Return the cost of putting right what makes the complaint, or of handing the bike over at once if that is less.

    Nothing is asked, looked at or tried in vain, and what is open stays open; fixes fail as they would for anyone.
    """
    complaint, normal = bench.bike.complaint, kb.grades(bench.bike.complaint)[0]
    at_once = profile.hand_over + workshop_bill(kb, bench, [complaint], profile)
    cost, times, open_ = 0.0, dict[str, int](), frozenset[str]()
    while bench.grade(complaint) != normal:
        left = [left_to_try(kb, cause, times, bench.bike.facts) for cause in sorted(bench.makers(complaint))]
        fixes = sorted({fixes[0] for fixes in left if fixes})
        if not fixes:
            cost += profile.hand_over + workshop_bill(kb, bench, [complaint], profile)
            break
        fix = kb.entries.fixes[fixes[0]]
        cost += price_of(kb, fix, profile)
        if fix.kind != "hand-over" and profile.can(kb, fix):
            cost += profile.money(access_minutes(kb, fix.access, open_))
            open_ |= frozenset(access_path(kb, fix.access))
        times[fixes[0]] = times.get(fixes[0], 0) + 1
        bench.fix(fixes[0])
    return min(cost, at_once)


def workshop_bill(kb: KnowledgeBase, bench: Bench, findings: Iterable[str], profile: Profile) -> float:
    """Return what a workshop takes for putting right what makes these findings, the trip there not counted."""
    needed = {kb.entries.causes[c].fixes[0] for f in findings for c in bench.makers(f)}
    fixes = [kb.entries.fixes[f] for f in sorted(needed)]
    return sum(PART_WORTH[f.price] + profile.money(f.minutes) for f in fixes)
