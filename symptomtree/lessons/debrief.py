"""The learner's way beside the adviser's, step by step, with a score that judges decisions and not luck.

Every step has an *expected loss* (opportunity loss; Raiffa and Schlaifer 1961): what the whole way to a fixed bike is
expected to cost when this comes next, less what it is with the adviser's own step, both from what was known before the
step. So a guess costs what it risked, also when it came off; a look that could tell nothing costs its time; and what
the adviser would have done costs nothing.

    score = 100 x scale / (scale + sum of the losses) - points for hints

The scale is the worth of the adviser's own bench time on this bike, ten minutes at least. A way that does not end with
a bike proven to be in order, or that was not safe, cannot score above its cap. Who does not finish gets of the cap the
share that was done, and so nothing for giving up at once:

    share = sum of the worth of each step's bench time less its loss / scale, 1 at most

So the adviser's steps count in full, and what told nothing not at all. What came of a step is in no term here either.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from symptomtree.kb.model import instructions
from symptomtree.lessons.lesson import Action, Move, bench_after, work_of
from symptomtree.lessons.way import Tutor, Way, advised, advised_way, in_order, likeliest
from symptomtree.reasoning.assess import Assessment, StopRiding
from symptomtree.reasoning.planning import Step
from symptomtree.reasoning.turn import Turn, next_turn

LEAST_MINUTES = 10.0
"""The scale is no less than so many minutes: a slip on an easy bike is still a slip, not a failure."""
HINT_POINTS = {1: 1.0, 2: 2.0, 3: 3.0}
"""What a hint of each level takes from the score."""
RIDE = "ride-test"
"""The hazard of work that ends with a ride."""
WORTH_TELLING = 0.05
"""Share of the scale from which on a loss is something to practise."""

Risk = Literal["rode while a stop stood", "put off what comes first", "ended while a stop stood"]
Cap = Literal["not finished", "not proven", "not safe"]
CAPS: dict[Cap, float] = {"not finished": 30.0, "not proven": 60.0, "not safe": 60.0}


@dataclass(frozen=True)
class Judged:
    """One move of the learner, judged by what was known before it.

    Attributes:
        move: what was done, its minutes and money.
        tells: the causes between which it could tell, or which it could remove; none when nothing was still open that
            it bears on.
        due: whether it was due because of what went before: a proof, what must follow, a check that clears a stop.
        advised: what the adviser would have done there; None when it would have stopped.
        turn: the same with the adviser's step.
        loss: expected loss, in money.
        risk: what was not safe about it.
        cautions: whether it is work that carries cautions.
        before: what was known then.
    """

    move: Move
    tells: tuple[str, ...]
    due: bool
    advised: Action | None
    turn: Turn
    loss: float
    risk: Risk | None
    cautions: bool
    before: Assessment

    @property
    def as_advised(self) -> bool:
        return self.move.action == self.advised


@dataclass(frozen=True)
class Debrief:
    """How a lesson went.

    Attributes:
        way, advised: the learner's way, and the adviser's through the same bike.
        steps: the learner's moves, judged.
        naming_loss: expected loss of the cause named, beside the likeliest one, in money.
        scale: in money; see above.
        score: 0 to 100.
        caps: what keeps the score down, and how high it can be at most.
        right: whether the cause named is the answer; None when none was.
        gone: whether what the rider came with is truly gone.
        proven: whether it was looked at again after the work, with all that must follow.
        risks: what was not safe, the end included.
        confused: (taken for, what it was) of causes that were named or worked on in vain.
        missed: what the adviser would have done where most was lost, dearest first.
    """

    way: Way
    advised: Way
    steps: tuple[Judged, ...]
    naming_loss: float
    scale: float
    score: float
    caps: Mapping[Cap, float]
    right: bool | None
    gone: bool
    proven: bool
    risks: tuple[Risk, ...]
    confused: tuple[tuple[str, str], ...]
    missed: tuple[Action, ...]

    @property
    def lost(self) -> float:
        """Sum of the expected losses, in money."""
        return sum(s.loss for s in self.steps) + self.naming_loss


def debrief(tutor: Tutor, way: Way) -> Debrief:
    """Return how a way went, ended or not; the same way always gives the same result."""
    lesson, profile = way.lesson, tutor.profile
    own = advised_way(tutor, lesson)
    steps = tuple(_judge(tutor, way, n) for n in range(len(way.moves)))
    end = tutor.assess(way.events)
    scale = profile.money(max(own.minutes, LEAST_MINUTES))
    naming_loss = _naming_loss(end, way.named) * scale
    risks: list[Risk] = list(dict.fromkeys(s.risk for s in steps if s.risk))
    handed = way.ended == "handed over"
    if end.standing_stops and not handed and way.ended is not None:
        risks.append("ended while a stop stood")
    bench = bench_after(tutor.kb, lesson, way.events)
    gone = all(bench.grade(f) == tutor.kb.grades(f)[0] for f in end.state.complaint)
    proven = in_order(end)
    caps = {cap: CAPS[cap] for cap in _caps(way, steps, end, proven, bool(risks))}
    if "not finished" in caps:
        well_spent = sum(max(0.0, profile.money(s.move.minutes) - s.loss) for s in steps)
        caps["not finished"] *= min(1.0, well_spent / scale)
    lost = sum(s.loss for s in steps) + naming_loss
    score = 100 * scale / (scale + lost) - sum(HINT_POINTS[level] for _, level in way.hints)
    dear = sorted((s for s in steps if s.loss > WORTH_TELLING * scale and s.advised), key=lambda s: -s.loss)
    return Debrief(
        way,
        own,
        steps,
        naming_loss,
        scale,
        max(0.0, min([score, *caps.values()])),
        caps,
        None if way.named is None else way.named in lesson.accepted,
        gone,
        proven,
        tuple(risks),
        tuple(_confused(tutor, way)),
        tuple(dict.fromkeys(s.advised for s in dear if s.advised))[:3],
    )


def _judge(tutor: Tutor, way: Way, n: int) -> Judged:
    a, move = tutor.assess(way.before(n)), way.moves[n]
    turn, best = next_turn(a), advised(a)
    step = _step_of(a, move.action)
    due = _due(a, move.action)
    loss = 0.0 if due or move.action == best else _loss(a, turn, step, move)
    rank = next((r for r in a.fixes if r.fix == move.action.name), None)
    tells = rank.causes if rank else tuple(cause for cause, _, _ in step.tells) if step else ()
    work = work_of(tutor.kb, move.action)
    cautions = bool(work and (work.hazards or work.cautions or any(mind for mind, _ in instructions(work))))
    return Judged(move, tells, due, best, turn, loss, _risk(a, move.action, best), cautions, a)


def _step_of(a: Assessment, action: Action) -> Step | None:
    return next((s for s in a.steps if (s.doing, s.name) == (action.doing, action.name)), None)


def _due(a: Assessment, action: Action) -> bool:
    """Return whether an action is due because of what was done before; then its order is free."""
    kb, name = a.knowledge, action.name
    if not a.state.fixes:
        return False
    due = {kb.settled_by.get(f, f) for f in a.due} | {r.fix for r in a.meanwhile}
    if a.stage in ("retest", "done"):
        due |= {*a.follow, *(s.until for s in a.standing_stops)}
    return name in due or (action.doing == "question" and any(kb.set_by.get(f) == name for f in a.due))


def _loss(a: Assessment, turn: Turn, step: Step | None, move: Move) -> float:
    """Return the expected loss of a move that was neither due nor advised, in money.

    It is the plan's own difference, but never more than is paid: whoever asks or looks can still go the adviser's way
    afterwards, and a fix that is needed has to be paid in any way. (The plan prices what comes of its best steps more
    closely than of the others, so their difference alone would be too much.) What the plan does not list could tell
    or mend nothing that is still open, and is paid in full. While the last fix's proof is due the same holds for all
    work: the proof costs nothing, and may spare the work.
    """
    searching = a.stage not in ("retest", "done")
    needed = next((r.needed for r in a.fixes if r.fix == move.action.name), 0.0) if searching else 0.0
    vain = (a.profile.money(move.minutes) + move.spent) * (1 - needed)
    if step is None or not searching:
        return vain
    more = max(0.0, step.total - (turn.step or a.steps[0]).total)
    return more if step.doing == "hand-over" else min(more, vain)


def _risk(a: Assessment, action: Action, best: Action | None) -> Risk | None:
    """Return what is not safe about an action that the adviser would not have taken."""
    kb = a.knowledge
    work = work_of(kb, action)
    if action == best or work is None:
        return None
    if RIDE in work.hazards and any(not _is_about(a, action, stop) for stop in a.standing_stops):
        return "rode while a stop stood"
    first = [c.target for c in a.conclusions if c.kind == "do-first" and not _is_done(a, c.target)]
    if action.doing == "fix" and first and action.name not in first:
        return "put off what comes first"
    return None


def _is_about(a: Assessment, action: Action, stop: StopRiding) -> bool:
    """Return whether a fix mends what a stop rests on: its ride comes after that."""
    kb = a.knowledge
    rows = [kb.row[c] for c in kb.fixed_by.get(action.name, ())]
    columns = [kb.column[t.name] for t in stop.conclusion.told if t.name in kb.column]
    return action.doing == "fix" and bool((kb.reach[rows][:, columns] < 1).any())


def _is_done(a: Assessment, name: str) -> bool:
    """Return whether a check or fix was carried out, or has nothing to tell on this bike."""
    if name in a.knowledge.entries.fixes:
        return name in a.state.times
    return any(f in a.state.seen for f in a.knowledge.entries.checks[name].settles)


def _naming_loss(end: Assessment, named: str | None) -> float:
    """Return by how much the cause named was less likely than another: so often the work would start anew."""
    if named is None or not end.causes:
        return 0.0
    ever = {c.cause: c.ever for c in end.causes}
    return ever[likeliest(end)] - ever.get(named, 0.0)


def _caps(way: Way, steps: tuple[Judged, ...], end: Assessment, proven: bool, unsafe: bool) -> Iterator[Cap]:
    if way.ended == "handed over":
        if not steps[-1].as_advised:
            yield "not finished"
    elif way.named is None or end.stage in ("search", "complaint"):
        yield "not finished"
    elif not proven:
        yield "not proven"
    if unsafe:
        yield "not safe"


def _confused(tutor: Tutor, way: Way) -> Iterator[tuple[str, str]]:
    """Yield each cause that was named, or worked on first, though it was not there, with the answer."""
    answer, seen = way.lesson.cause, set()
    for n, move in enumerate(way.moves):
        a = tutor.assess(way.before(n))
        if move.action.doing == "fix" and not _due(a, move.action):
            there = bench_after(tutor.kb, way.lesson, way.before(n)).causes
            causes = tutor.kb.fixed_by[move.action.name]
            rank = next((r.causes for r in a.fixes if r.fix == move.action.name), ())
            if causes and not there & set(causes):
                seen.add((rank or causes)[0])
    if way.named is not None and way.named not in way.lesson.accepted:
        seen.add(way.named)
    yield from ((cause, answer) for cause in sorted(seen))
