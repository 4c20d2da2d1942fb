"""The entries of the knowledge: what a YAML file may say. Field names are kebab-case in YAML.

Every entry is an immutable struct. Text is text: nothing here is interpreted as markup. The loader reads each
struct's fields from this module, so a new field needs no other change than its use.
"""

import re
from typing import Annotated, Literal, Union

from msgspec import Meta, Struct, field

Id = Annotated[str, Meta(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
Text = Annotated[str, Meta(min_length=1, max_length=1200)]
Minutes = Annotated[float, Meta(ge=0, le=600)]
Chance = Annotated[float, Meta(gt=0, lt=1)]

Skill = Literal["rider", "mechanic", "specialist"]
"""rider: anyone with care; mechanic: a trained hand; specialist: special press, tooling or licence."""
Price = Literal["none", "low", "middle", "high", "very-high"]
"""Band of the parts a fix uses up; its worth is in `symptomtree.reasoning.costs`."""
Kind = Literal["clean", "adjust", "repair", "replace", "hand-over"]
Danger = Literal["none", "care", "stop"]
"""none: a nuisance; care: ride gently to the bench; stop: do not ride until it is put right."""
About = Literal["bike", "history", "conditions"]


class Entry(Struct, frozen=True, kw_only=True, rename="kebab", forbid_unknown_fields=True, omit_defaults=True):
    """What all entries share: how they are encoded."""


class Number(Entry, frozen=True, kw_only=True, array_like=True):
    """A probability given as a number instead of a word; then it names its source.

    Kept as a list in the cache, so that it is told apart from the mappings it stands beside in `Graded`.
    """

    p: Chance
    source: Id


class Times(Entry, frozen=True, kw_only=True):
    """A factor on odds given as a number instead of a word; then it names its source."""

    times: Annotated[float, Meta(gt=1, le=1000)]
    source: Id


Strength = Union[str, Number]  # noqa: UP007 - msgspec and the loader both read the union's members
"""A word of `scale.PROBABILITY`, or a number with its source."""
Factor = Union[str, Times]  # noqa: UP007
"""A word of `scale.ODDS_FACTOR`, or a number with its source."""
Graded = Union[Strength, dict[str, Strength]]  # noqa: UP007
"""Chance to reach AT LEAST a grade. One word: the first abnormal grade of a two-grade finding. Mapping: grade ->
chance; a grade left out takes the chance of the next named grade above it, or none when no higher one is named."""
FactsNeeded = dict[str, list[str]]
"""`applies-to`: fact -> the values it may have; all of them must hold."""
FindingsNeeded = dict[str, list[str]]
"""`asked-when`: finding -> grades; it is asked once any one of them has been found."""


class Careful(Entry, frozen=True, kw_only=True):
    """A step with the caution that belongs to it and not to the whole work; it is told right before the step."""

    mind: Text
    do: Text


Instruction = Union[Text, Careful]  # noqa: UP007
"""A step of some work."""


class Part(Entry, frozen=True, kw_only=True):
    """A place on the bike."""

    name: Text
    inside: Id | None = None
    """The part that it belongs to; the tree's root is the bike."""
    about: Text | None = None
    """What it is and where to find it, for someone who does not know its name."""
    applies_to: FactsNeeded = {}
    """Bike facts without which the part is not there; causes of the part and of all parts inside inherit them."""


class Fact(Entry, frozen=True, kw_only=True):
    """Something true of the bike, its history or the conditions, which changes the odds of causes."""

    about: About
    ask: Text
    values: Annotated[dict[str, Text], Meta(min_length=2)]
    """value -> plain words; for history and conditions the first is the usual one."""
    share: dict[str, Chance]
    """value -> how much of all bikes at the bench; sums to 1."""
    source: Id
    """Where the shares come from."""
    says: dict[str, list[Text]] = {}
    """value -> words of riders that tell it."""
    how: list[Text] = []
    """How to find out, for someone who does not know."""
    applies_to: FactsNeeded = {}
    asked_when: FindingsNeeded = {}


class Measure(Entry, frozen=True, kw_only=True):
    """The tool of the measuring room that works a finding out from what is read off."""

    tool: Id
    values: Annotated[list[Id], Meta(min_length=1)]
    """What the tool gives: one number in the unit of the finding's reading; or, where it has no reading, shares that
    add up to how likely the worst grade is."""
    given: dict[str, Text] = {}
    """Field of the tool -> what stands in it from the start: which end of the bike, say."""


class Symptom(Entry, frozen=True, kw_only=True):
    """What a rider can notice and report; it is also the finding of the same id."""

    part: Id
    name: Text
    """A short noun phrase: 'squeal when braking'."""
    ask: Text
    grades: Annotated[dict[str, Text], Meta(min_length=2)]
    """grade -> what it is like, from normal to worst; the first is normal."""
    says: dict[str, list[Text]] = {}
    """grade -> how riders say it; the normal grade may have words too ('no noise')."""
    leak: Graded
    """How often it reaches a grade for no reason listed in the knowledge."""
    how: list[Text] = []
    """How to look, listen or feel, in steps."""
    minutes: Minutes = 0.3
    applies_to: FactsNeeded = {}
    asked_when: FindingsNeeded = {}
    """Only asked once one of these was found: 'in time with the wheel?' needs a noise."""
    measure: Measure | None = None


class Answer(Entry, frozen=True, kw_only=True):
    """One answer to a question that settles several findings at once."""

    words: Text
    sets: Annotated[dict[str, str], Meta(min_length=1)]
    """finding -> grade"""
    says: list[Text] = []


class Question(Entry, frozen=True, kw_only=True):
    """One question whose answer settles several symptoms: what is the noise in time with?"""

    ask: Text
    answers: Annotated[dict[str, Answer], Meta(min_length=2)]
    how: list[Text] = []
    minutes: Minutes = 0.3
    applies_to: FactsNeeded = {}
    asked_when: FindingsNeeded = {}


class Reading(Entry, frozen=True, kw_only=True):
    """How a measured number becomes a grade."""

    unit: Text
    limits: Annotated[dict[str, float], Meta(min_length=1)]
    """abnormal grade -> the number from which on it holds"""
    worse: Literal["above", "below"]
    """above: at the limit or above it is that grade; below: at the limit or below it."""
    error: Annotated[float, Meta(gt=0)]
    """Standard uncertainty of the gauge in the hands of its user, in the same unit."""
    span: Annotated[list[float], Meta(min_length=2, max_length=2)]
    """[least, greatest] number that is not a slip of the pen."""
    source: Id
    note: Text | None = None
    """What the limits mean, or where sources disagree."""


class Observable(Entry, frozen=True, kw_only=True):
    """A finding that a check settles."""

    ask: Text
    grades: Annotated[dict[str, Text], Meta(min_length=2)]
    leak: Graded
    reading: Reading | None = None
    measure: Measure | None = None
    applies_to: FactsNeeded = {}
    asked_when: FindingsNeeded = {}


class Check(Entry, frozen=True, kw_only=True):
    """Something a person does to learn more: look, listen, feel, measure."""

    name: Text
    """An imperative: 'Spin the wheel and watch the disc'."""
    part: Id
    how: Annotated[list[Instruction], Meta(min_length=1)]
    minutes: Minutes
    """Hands-on time with the access already open."""
    settles: Annotated[dict[str, Observable], Meta(min_length=1)]
    """finding -> what to look at and its grades, normal first"""
    tools: list[Id] = []
    people: Annotated[int, Meta(ge=1, le=3)] = 1
    """How many it takes."""
    access: Id | None = None
    skill: Skill = "rider"
    hazards: list[Id] = []
    cautions: list[Text] = []
    applies_to: FactsNeeded = {}
    asked_when: FindingsNeeded = {}


class Cause(Entry, frozen=True, kw_only=True):
    """One thing that is wrong with one part."""

    name: Text
    part: Id
    mechanism: Text
    """In plain words: how it comes about and why it makes what it makes."""
    common: Strength
    """Of the bikes that reach a bench and to which it applies, how many have it."""
    shows: Annotated[dict[str, Graded], Meta(min_length=1)]
    """finding -> how often this cause alone brings it to at least a grade"""
    confirm: Id
    """The check that confirms it."""
    fixes: Annotated[list[Id], Meta(min_length=1)]
    """Best first."""
    normal: bool = False
    """Nothing is broken: such a bike behaves so, or it is a matter of set-up or technique."""
    danger: Danger
    danger_because: Text | None = None
    raised_by: dict[str, dict[str, Factor]] = {}
    """fact -> value -> how much it raises the odds"""
    lowered_by: dict[str, dict[str, Factor]] = {}
    applies_to: FactsNeeded = {}
    confused_with: list[Id] = []
    source: Id = "common-practice"


class Figure(Entry, frozen=True, kw_only=True):
    """A number that the work needs, with its source."""

    what: Text
    value: Text
    unit: str = ""
    source: Id


class Fix(Entry, frozen=True, kw_only=True):
    """Work that removes causes."""

    name: Text
    kind: Kind
    steps: Annotated[list[Instruction], Meta(min_length=1)]
    minutes: Minutes
    works: Strength
    """How often it removes its cause when that is what was wrong."""
    retest: Annotated[list[Id], Meta(min_length=1)]
    """The findings or checks that prove it worked."""
    parts: list[Text] = []
    price: Price = "none"
    tools: list[Id] = []
    people: Annotated[int, Meta(ge=1, le=3)] = 1
    """How many it takes."""
    access: Id | None = None
    skill: Skill = "rider"
    hazards: list[Id] = []
    cautions: list[Text] = []
    figures: list[Figure] = []
    then: list[Id] = []
    """Fixes and checks that must follow: new pads are bedded in."""
    measure_with: list[Id] = []
    """Tools of the measuring room that work out what it needs: how many links the new chain has."""
    reversible: bool = True
    applies_to: FactsNeeded = {}


class Access(Entry, frozen=True, kw_only=True):
    """A state the bike must be in for a check or a fix."""

    name: Text
    """Reads after 'with the bike': 'on the stand', 'wheel out'."""
    inside: Id | None = None
    """The state that must be open before."""
    open: Minutes
    close: Minutes
    how: list[Text] = []
    tools: list[Id] = []
    skill: Skill = "rider"
    hazards: list[Id] = []
    cautions: list[Text] = []


class Tool(Entry, frozen=True, kw_only=True):
    """A tool or a consumable that a step needs."""

    name: Text
    instead: Text | None = None
    """What serves when it is missing, if anything does."""


class Hazard(Entry, frozen=True, kw_only=True):
    """A way in which work can hurt someone, with the caution that goes with it everywhere."""

    name: Text
    caution: Text
    words: list[Text] = []
    """Words in a step which mean that this hazard is there: the vetting looks for them, and the caution of work that
    names the hazard comes before the first such step."""
    riding: bool = False
    """Whether the work has a ride in it, which has to wait while a reason not to ride stands."""

    def word_in(self, step: str) -> str | None:
        """Return the first of the words that a step says, in lower case."""
        words = (word.lower() for word in self.words)
        return next((word for word in words if re.search(rf"\b{re.escape(word)}\b", step.lower())), None)


class Source(Entry, frozen=True, kw_only=True):
    """Where a number or a claim comes from."""

    title: Text
    kind: Literal["standard", "government", "handbook", "paper", "article", "common-practice", "memory"]
    publisher: Text | None = None
    year: int | None = None
    where: Text | None = None
    """Clause, page or address inside the publication."""


class Condition(Entry, frozen=True, kw_only=True):
    """One thing a rule needs: a fact, a finding, a reading or a fix done. Exactly one of the first four is given."""

    fact: Id | None = None
    finding: Id | None = None
    reading: Id | None = None
    done: Id | None = None
    any_of: list[str] = field(default=[], name="is")
    """With fact or finding: one of these values or grades."""
    at_least: str | None = None
    """With finding: this grade or a worse one."""
    above: float | None = None
    below: float | None = None


class Stop(Entry, frozen=True, kw_only=True):
    """Do not ride."""

    because: Text
    until: Id
    """The check that clears it, when each of its findings is normal again after the finding that fired the rule."""


class Rule(Entry, frozen=True, kw_only=True):
    """Categorical knowledge: when all conditions hold, the conclusions follow."""

    when: Annotated[list[Condition], Meta(min_length=1)]
    stop_riding: Stop | None = None
    rules_out: list[Id] = []
    """Causes that cannot be."""
    implies: dict[str, str] = {}
    """fact or finding -> value or grade that need not be asked any more"""
    contradicts: Text | None = None
    """Why the conditions cannot all be true at once."""
    do_first: list[Id] = []
    """Checks or fixes that come before everything else, dearest concern first."""
    must_follow: list[Id] = []
    """Checks or fixes that are due from now on."""
    hand_over: Text | None = None
    """Why this goes to a qualified workshop, the maker or a specialist."""
    because: Text | None = None
    """The reason for the conclusions, in plain words, where they do not carry one of their own."""
    source: Id = "common-practice"


class Exemption(Entry, frozen=True, kw_only=True):
    """What the vetting finds, a reviewer has judged, and may stand."""

    code: str
    """Of the rule that finds it: 'K323'."""
    entries: Annotated[list[Id], Meta(min_length=1)]
    """What it may be about: a problem that is about nothing else stands."""
    because: Text


class Entries(Entry, frozen=True, kw_only=True):
    """All the knowledge, by section; the field names are the sections of a file."""

    parts: dict[str, Part] = {}
    facts: dict[str, Fact] = {}
    symptoms: dict[str, Symptom] = {}
    questions: dict[str, Question] = {}
    checks: dict[str, Check] = {}
    causes: dict[str, Cause] = {}
    fixes: dict[str, Fix] = {}
    access: dict[str, Access] = {}
    tools: dict[str, Tool] = {}
    hazards: dict[str, Hazard] = {}
    rules: dict[str, Rule] = {}
    sources: dict[str, Source] = {}
    exceptions: dict[str, Exemption] = {}


def instructions(work: Check | Fix) -> list[tuple[str | None, str]]:
    """Return (the caution of its own, what to do) of each step of a check or fix."""
    steps = work.how if isinstance(work, Check) else work.steps
    return [(step.mind, step.do) if isinstance(step, Careful) else (None, step) for step in steps]
