"""An assessment as data: what `replay --json` prints. The structs are the schema (`replay --schema` prints it).

`version` rises when a field changes its meaning or goes; new fields may come without that.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from symptomtree.reasoning.assess import Assessment
from symptomtree.reasoning.rules import Conclusion

VERSION = 1

Probability = Annotated[float, Meta(ge=0, le=1)]


class Record(Struct, frozen=True, kw_only=True, rename="kebab"):
    """What all parts of the record share."""


class Evidence(Record, frozen=True, kw_only=True):
    """What one finding adds to the log odds of a cause (natural log; below zero speaks against it)."""

    finding: str
    grade: str
    log_odds: float


class CauseRecord(Record, frozen=True, kw_only=True):
    """How a cause stands."""

    id: str
    name: str
    probability: Probability
    words: str
    danger: Literal["none", "care", "stop"]
    evidence: list[Evidence]


class SetRecord(Record, frozen=True, kw_only=True):
    """A whole set of causes, and how likely exactly this set of the causes in question is."""

    causes: list[str]
    probability: Probability


class StepRecord(Record, frozen=True, kw_only=True):
    """A step that could come next; money in the unit of the person's rate."""

    doing: Literal["fact", "ask", "question", "check", "fix", "hand-over"]
    id: str
    name: str
    settles: list[str]
    minutes: float
    cost: float
    expected_total: float
    """Expected cost to a fixed bike when this step comes next."""


class FixRecord(Record, frozen=True, kw_only=True):
    """A fix and how likely it is needed."""

    id: str
    name: str
    needed: Probability
    cost: float
    causes: list[str]


class StopRecord(Record, frozen=True, kw_only=True):
    """A reason not to ride, with what clears it and the rules that led to it."""

    because: str
    until: str
    cleared: bool
    rules: list[str]
    events: list[int]


class ConclusionRecord(Record, frozen=True, kw_only=True):
    """What a rule says, with the chain that led to it."""

    kind: str
    target: str
    because: str
    rules: list[str]
    events: list[int]


class ContradictionRecord(Record, frozen=True, kw_only=True):
    """Answers that cannot all hold; look at these events again."""

    because: str
    events: list[int]


class ChangeRecord(Record, frozen=True, kw_only=True):
    """A finding not looked at yet that would put the second cause above the first."""

    finding: str
    grade: str


class AssessmentRecord(Record, frozen=True, kw_only=True):
    """Everything that follows from the events of a case."""

    version: int
    title: str
    knowledge: str
    """Digest of the knowledge."""
    stage: Literal["complaint", "search", "retest", "done"]
    stop_riding: list[StopRecord]
    may_be_dangerous: list[str]
    contradictions: list[ContradictionRecord]
    conclusions: list[ConclusionRecord]
    causes: list[CauseRecord]
    sets: list[SetRecord]
    would_change_the_order: list[ChangeRecord]
    fixes: list[FixRecord]
    next_steps: list[StepRecord]
    retest: list[str]
    meanwhile: list[str]
    """Fixes that pay before the bike is put together for the retest."""
    besides: list[str]
    """Findings out of order that are no part of the job."""
    follow: list[str]
    probability_error: float
    """0 when probabilities are exact; else how far none of them is expected to be off (2.5 standard errors)."""


def record(title: str, a: Assessment, causes: int = 10, steps: int = 10) -> AssessmentRecord:
    """Put an assessment into the record.

    Args:
        title: of the case.
        a: the assessment.
        causes, steps: how many to list at most.
    """
    kb = a.knowledge
    top = a.causes[:causes]
    return AssessmentRecord(
        version=VERSION,
        title=title,
        knowledge=kb.digest,
        stage=a.stage,
        stop_riding=[
            StopRecord(
                because=s.because,
                until=s.until,
                cleared=s.cleared,
                rules=list(s.conclusion.via),
                events=_events(s.conclusion),
            )
            for s in a.stops
        ],
        may_be_dangerous=[w.cause for w in a.warnings],
        contradictions=[ContradictionRecord(because=c.because, events=list(c.numbers)) for c in a.contradictions],
        conclusions=[
            ConclusionRecord(kind=c.kind, target=c.target, because=c.because, rules=list(c.via), events=_events(c))
            for c in a.conclusions
        ],
        causes=[
            CauseRecord(
                id=s.cause,
                name=kb.name_of(s.cause),
                probability=_chance(s.probability),
                words=s.words,
                danger=s.danger,
                evidence=[
                    Evidence(finding=f, grade=a.state.grade(f) or "", log_odds=round(x, 3))
                    for f, x in a.evidence_for(s.cause)
                ],
            )
            for s in top
        ],
        sets=[SetRecord(causes=list(causes), probability=_chance(p)) for causes, p in a.sets],
        would_change_the_order=[
            ChangeRecord(finding=f, grade=g)
            for f, g in (a.would_change(top[0].cause, top[1].cause) if len(top) > 1 else ())
        ],
        fixes=[
            FixRecord(
                id=f.fix, name=kb.name_of(f.fix), needed=_chance(f.needed), cost=round(f.cost, 2), causes=list(f.causes)
            )
            for f in a.fixes[:causes]
        ],
        next_steps=[
            StepRecord(
                doing=s.doing,
                id=s.name,
                name=kb.name_of(s.name) if s.name else "hand the bike over to a workshop",
                settles=list(s.settles),
                minutes=round(s.minutes, 2),
                cost=round(s.cost, 2),
                expected_total=round(s.total, 2),
            )
            for s in a.steps[:steps]
        ],
        retest=list(a.due),
        meanwhile=[f.fix for f in a.meanwhile],
        besides=list(a.besides),
        follow=list(a.follow),
        probability_error=round(a.error, 6),
    )


def _events(c: Conclusion) -> list[int]:
    return sorted({t.at for t in c.told})


def _chance(p: float) -> float:
    """Round to what is worth printing, away from the last bits that may differ between processors."""
    return min(max(round(p, 9), 0.0), 1.0)
