"""A case: one bike, one job, an append-only list of events; and what a walkthrough adds to it.

A case file is YAML with these structs' fields in kebab-case. It is what `ask` saves, what `replay` reads and what a
walkthrough is.
"""

from collections.abc import Sequence
from typing import Annotated, Literal, Union

from msgspec import Meta, Struct

from symptomtree.kb.model import Entry, Id, Text


class Event(
    Struct, frozen=True, kw_only=True, tag_field="kind", rename="kebab", forbid_unknown_fields=True, omit_defaults=True
):
    """Something that happened; `kind` in the file names which of the structs below it is."""


class Complaint(Event, frozen=True, kw_only=True, tag="complaint"):
    """What the rider said, word for word; evidence only through the answers confirmed from it."""

    text: Text


class Context(Event, frozen=True, kw_only=True, tag="context"):
    """A fact of the bike, its history or the conditions."""

    fact: Id
    value: str


class Answer(Event, frozen=True, kw_only=True, tag="answer"):
    """A finding's grade. The same finding again corrects the earlier answer; after a fix it is a retest."""

    finding: Id
    grade: str
    complaint: bool = False
    """Whether the rider wants it put right. What only came up on the way is told, but not chased."""
    sure: Annotated[float, Meta(gt=0, le=1)] = 1.0
    """Likelihood of what was measured if this is the grade, beside that of it in the other grades together."""


class Reading(Event, frozen=True, kw_only=True, tag="reading"):
    """A finding measured with a gauge, in the unit that the knowledge gives for it."""

    finding: Id
    value: float
    error: Annotated[float, Meta(gt=0)] | None = None
    """Standard uncertainty of this gauge, if it is not the one in the knowledge."""
    complaint: bool = False
    """As for an answer."""


class Unsure(Event, frozen=True, kw_only=True, tag="unsure"):
    """The person cannot tell; `about` is a finding, fact, question or check, which is not asked again."""

    about: Id


class FixDone(Event, frozen=True, kw_only=True, tag="fix"):
    """A fix was carried out. Findings answered after it are retests."""

    fix: Id


class Opened(Event, frozen=True, kw_only=True, tag="access"):
    """What is open now, when it is not what the last check or fix left open; nothing means the bike is together."""

    access: Id | None = None


class LeftOut(Event, frozen=True, kw_only=True, tag="left-out"):
    """The person does not want something now: it is not proposed again. What it is about stays as it is."""

    about: str
    """A fix or check, `hand-over`, `besides` (what came up on the way), or a contradiction by its `conflict_name`."""


class Correction(Event, frozen=True, kw_only=True, tag="correction"):
    """Event `number` (from 1) was wrong: it counts as if it had said this grade or value, or nothing at all."""

    number: Annotated[int, Meta(ge=1)]
    grade: str | None = None
    value: float | str | None = None


class Measured(Event, frozen=True, kw_only=True, tag="measured"):
    """A tool was used; what came of it as evidence follows as a reading or answers. It changes nothing itself."""

    tool: str
    """The name of a tool, or `BIKE`."""
    given: dict[str, Text]
    """Field -> what was filled in."""
    says: Text
    """The result in words."""

    def __hash__(self) -> int:
        return hash((self.tool, self.says))


class Note(Event, frozen=True, kw_only=True, tag="note"):
    """Anything worth writing down; it changes nothing."""

    text: Text


AnyEvent = Union[Complaint, Context, Answer, Reading, Unsure, FixDone, Opened, LeftOut, Correction, Measured, Note]  # noqa: UP007


HAND_OVER, BESIDES = "hand-over", "besides"
BIKE = "bike"
"""The tool of `Measured` where nothing was measured: figures that were known of the bike."""


def conflict_name(numbers: Sequence[int]) -> str:
    """Return what a contradiction is called, from the numbers of its events."""
    return f"events-{'-'.join(str(n) for n in numbers)}"


class Known(Entry, frozen=True, kw_only=True):
    """What is known to be wrong with the bike of a walkthrough or of a case that tests the knowledge."""

    cause: Id
    also_accept: list[Id] = []
    """Other answers an expert would take for these findings."""
    fix: Id | None = None
    story: Text | None = None
    """How it was found, told after the learner is through."""
    difficulty: Literal["first", "steady", "tricky"] = "steady"
    within: Annotated[int, Meta(ge=1, le=5)] = 1
    """How high the cause must rank after all events."""
    stop_riding: bool = False
    """Whether the knowledge must tell the rider not to ride before the bike is fixed."""


class Case(Entry, frozen=True, kw_only=True):
    """One bike, one job."""

    symptomtree_case: Literal[1]
    title: Text
    source: Text | None = None
    """Where a case that nobody here invented was published."""
    knowledge: str | None = None
    """Digest of the knowledge that the case was last worked with."""
    events: list[AnyEvent] = []
    known: Known | None = None
