"""Keeps a case: its events, its file, what follows from them. Every event is on disk before the next question."""

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
from platformdirs import user_data_path

from symptomtree.cases.files import event_problems, write_case
from symptomtree.cases.model import AnyEvent, Case, Complaint, Correction, Note
from symptomtree.reasoning.costs import Profile

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase
    from symptomtree.reasoning.assess import Adviser, Assessment


def cases_folder() -> Path:
    """Return where cases are kept unless another place is named; nothing is created."""
    return user_data_path("symptomtree") / "cases"


def default_path() -> Path:
    """Return a file for a new case in the user's data folder; nothing is created."""
    folder = cases_folder()
    stem = time.strftime("%Y-%m-%d-%H%M%S")
    path, n = folder / f"{stem}.yaml", 1
    while path.exists():
        path, n = folder / f"{stem}-{n}.yaml", n + 1
    return path


class Keeper:
    """A case that grows, and its assessment."""

    def __init__(
        self,
        kb: "KnowledgeBase",
        case: Case,
        path: Path | None,
        profile: Profile,
        tell: Callable[[str], None],
        adviser: "Adviser | None" = None,
    ) -> None:
        """Take a case over.

        Args:
            kb: what it is reasoned with.
            case: new or resumed.
            path: where it is saved; None when it is not.
            profile: whose time and money it is.
            tell: how the person is told that saving failed.
            adviser: made when it is first needed, if there is none yet.
        """
        self.kb = kb
        self.case = msgspec.structs.replace(case, knowledge=kb.digest)
        self.path = path
        self.saved = path is not None and path.exists()  # a resumed case is there already
        self._profile = profile
        self._tell = tell
        self._complained = False
        self._adviser = adviser
        self._assessment: Assessment | None = None
        self._foreseen: dict[tuple[AnyEvent, ...], Assessment] = {}
        self._together: list[set[int]] = []  # numbers of events that one answer made

    @property
    def events(self) -> list[AnyEvent]:
        return self.case.events

    @property
    def assessment(self) -> "Assessment":
        """What follows from the events so far."""
        if self._assessment is None:
            self._assessment = self._assess(self.events)
        return self._assessment

    def after(self, *events: AnyEvent) -> "Assessment":
        """Return what would follow if these were added; nothing is written down."""
        if events not in self._foreseen:
            self._foreseen[events] = self._assess([*self.events, *events])
        return self._foreseen[events]

    def foresees(self, *events: AnyEvent) -> bool:
        """Whether what would follow from these has been worked out."""
        return events in self._foreseen

    def _assess(self, events: Sequence[AnyEvent]) -> "Assessment":
        from symptomtree.reasoning.assess import Adviser  # noqa: PLC0415 - the first question is there before it

        self._adviser = self._adviser or Adviser(self.kb)
        return self._adviser.assess(events, self._profile)

    def add(self, *events: AnyEvent) -> None:
        """Append what one answer comes to, and save."""
        if not events:
            return
        before = len(self.events)
        for n, event in enumerate(events):
            assert not list(event_problems(event, self.kb, [*self.events, *events[:n]])), event
        title = self.case.title
        if not self.events and isinstance(events[0], Complaint):
            title = events[0].text[:80]
        self.case = msgspec.structs.replace(self.case, title=title, events=[*self.events, *events])
        self._together.append(set(range(before + 1, before + len(events) + 1)))
        if not all(isinstance(e, Note) for e in events):
            self._assessment = self._foreseen.get(events)
        self._foreseen = {}
        self._save()

    def take_back(self) -> list[AnyEvent]:
        """Take back the last answer that still counts; return the events it had made, none when nothing is left."""
        live = [(n, e) for n, e in self.in_force() if not isinstance(e, Note)]
        if not live:
            return []
        last = live[-1][0]
        together = next((group for group in self._together if last in group), {last})
        gone = [(n, e) for n, e in live if n in together]
        self.add(*(Correction(number=n) for n, _ in reversed(gone)))
        return [e for _, e in gone]

    def in_force(self) -> list[tuple[int, AnyEvent]]:
        """Return (number, event) of everything that still counts, corrections applied."""
        from symptomtree.reasoning.state import in_force  # noqa: PLC0415 - the first question is there before it

        return in_force(self.events)

    def _save(self) -> None:
        """Write the case; when that fails say so once and go on, trying again each time."""
        if self.path is None:
            return
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            write_case(self.path, self.case)
            self.saved = True
        except OSError as error:
            self.saved = False
            if not self._complained:
                self._complained = True
                self._tell(
                    f"The case cannot be saved in {self.path}: {error.strerror or error}. It goes on without; "
                    "nothing is lost until you leave. Saving is tried again after every answer."
                )
