"""From free words, or from the list of parts, to findings and facts that the person has confirmed."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from symptomtree.cases.model import Answer, AnyEvent, Complaint, Context
from symptomtree.plain import show
from symptomtree.plain.answers import Option, several
from symptomtree.plain.asker import Asker, Prompt, Reply
from symptomtree.plain.keeper import Keeper
from symptomtree.plain.talk import Talk
from symptomtree.reasoning.words import Candidate, Matcher

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase

MOST_SHOWN = 8
LONGEST = 1200
"""A complaint's text in a case file is no longer; a longer one becomes several."""
OPENING = "What is wrong with the bike? Say it in your own words, or type parts to choose from a list."


def complaints_of(text: str) -> list[Complaint]:
    """Return a text as complaints, cut between words."""
    out = []
    while text:
        end = len(text) if len(text) <= LONGEST else max(text.rfind(" ", 0, LONGEST), LONGEST // 2)
        out.append(Complaint(text=text[:end].strip()))
        text = text[end:].strip()
    return out


class ComplaintDesk:
    """Hears a complaint out, and writes down only what is confirmed."""

    def __init__(self, talk: Talk, asker: Asker, keeper: Keeper) -> None:
        self._talk, self._asker, self._keeper = talk, asker, keeper
        self._matcher: Matcher | None = None

    def hear(self, text: str) -> None:
        """Write a complaint down, and let the person say which of its meanings are true."""
        self._keeper.add(*complaints_of(text))
        self.confirm(text)

    def confirm(self, text: str) -> None:
        """Show what a text may mean, and write down what the person confirms."""
        self._matcher = self._matcher or Matcher(self._keeper.kb)
        known = self._known()
        found = [c for c in self._matcher.candidates(text) if (c.name, c.value) not in known][:MOST_SHOWN]
        if not found:
            self._talk.say(
                "That is not recognised. Say it in other words: what it does, where, and when. Or type parts."
            )
            return
        self._talk.say("", "This is what it may mean. Nothing is taken for granted.")
        self._talk.say(*(f"  {n}. {meaning(self._keeper.kb, c)}" for n, c in enumerate(found, start=1)))
        events: list[AnyEvent] = [
            Answer(finding=c.name, grade=c.value, complaint=True)
            if c.kind == "finding"
            else Context(fact=c.name, value=c.value)
            for c in self._choose(found)
        ]
        self._keeper.add(*events)
        if self._keeper.assessment.stage == "complaint":
            self._talk.say("So far nothing is known to be wrong. Say in other words what the bike does, or type parts.")

    def _known(self) -> set[tuple[str, str]]:
        """Return what was told and found so far."""
        if all(isinstance(e, Complaint) for e in self._keeper.events):
            return set()
        state = self._keeper.assessment.state
        told = {(fact, value) for fact, (value, _) in state.facts.items()}
        return told | {(finding, looks[-1].grade) for finding, looks in state.seen.items()}

    def _choose(self, found: Sequence[Candidate]) -> list[Candidate]:
        """Ask which of the numbered meanings are true; which of two that exclude each other is never guessed."""
        prompt = Prompt("Which of these are true? Type their numbers (like 1 3), all, or none.", free=True)
        while True:
            said = self._asker.ask(prompt)
            if isinstance(said, Reply):
                return []
            if isinstance(said, str):
                numbers = several(said, len(found))
                if numbers is None:
                    self._talk.say(
                        f"Type numbers from 1 to {len(found)}, all, or none. (none lets you say it in other words)"
                    )
                    continue
                chosen = [found[n - 1] for n in numbers]
                names = [c.name for c in chosen]
                clash = [str(n) for n, name in zip(numbers, names, strict=True) if names.count(name) > 1]
                if not clash:
                    return chosen
                self._talk.say(
                    f"These cannot all be true: {', '.join(clash)}. Type the numbers again, only the right ones."
                )

    def by_part(self) -> None:
        """Let the person choose a symptom from the parts of the bike, and say how bad it is."""
        kb = self._keeper.kb
        groups: dict[str, list[str]] = {}
        for name, symptom in kb.entries.symptoms.items():
            if not symptom.asked_when and name not in self._keeper.assessment.state.seen:
                groups.setdefault(symptom.part, []).append(name)
        parts = sorted(groups, key=lambda p: (_way(kb, p), kb.name_of(p)))
        options = tuple(Option(p, _part(kb, p)) for p in parts)
        part = self._asker.ask(Prompt("Which part of the bike is it about? (skip leaves this list)", options))
        if not isinstance(part, Option):
            return
        symptoms = tuple(Option(s, kb.name_of(s), _says(kb, s)) for s in groups[part.value])
        chosen = self._asker.ask(Prompt("What is it like?", symptoms))
        if not isinstance(chosen, Option):
            return
        symptom = kb.entries.symptoms[chosen.value]
        grades = tuple(Option(g, words, tuple(symptom.says.get(g, ()))) for g, words in symptom.grades.items())
        grade = self._asker.ask(Prompt(symptom.ask, grades, how=tuple(show.numbered("How:", symptom.how))))
        if isinstance(grade, Option):
            self._keeper.add(Answer(finding=chosen.value, grade=grade.value, complaint=True))

    def open(self) -> None:
        """Ask what is wrong, until something is written down."""
        self._talk.say("")
        said = self._asker.ask(Prompt(OPENING, free=True))
        if isinstance(said, str):
            self.hear(said)
        else:
            self.by_part()


def meaning(kb: "KnowledgeBase", c: Candidate) -> str:
    """Return a candidate in plain words."""
    if c.kind == "fact":
        fact = kb.entries.facts[c.name]
        return f"{fact.ask} {fact.values[c.value]}"
    symptom = kb.entries.symptoms[c.name]
    return f"{symptom.name}: {symptom.grades[c.value].removeprefix('yes, ')}"


def _way(kb: "KnowledgeBase", part: str | None) -> tuple[str, ...]:
    way: list[str] = []
    while part:
        way.insert(0, part)
        part = kb.entries.parts[part].inside
    return tuple(way)


def _part(kb: "KnowledgeBase", name: str) -> str:
    part = kb.entries.parts[name]
    return f"{part.name}: {part.about}" if part.about else part.name


def _says(kb: "KnowledgeBase", symptom: str) -> tuple[str, ...]:
    return tuple(text for texts in kb.entries.symptoms[symptom].says.values() for text in texts)
