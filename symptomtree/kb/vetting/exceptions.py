"""What a reviewer lets stand: an entry of `exceptions` names the code, the entries and why."""

from collections.abc import Collection, Iterator

from symptomtree.kb.nodes import Problem
from symptomtree.kb.vetting.desk import Desk

AT_ONCE = ("K316", "K317", "K322", "K323", "K324", "K325", "K326")
"""The codes from which there may be exceptions, of the rules that are quick."""
DEEP = ("K401", "K402", "K403", "K404")
"""The same of those that need inference or simulated bikes."""


def excused(desk: Desk, found: Collection[Problem], codes: Collection[str]) -> list[Problem]:
    """Return the problems that no exception lets stand, and what is wrong with the exceptions.

    An exception lets a problem stand when all entries that it is about are among its own.

    Args:
        found: what the rules found.
        codes: the codes that these rules can yield; exceptions from others are not looked at.
    """
    stood: dict[str, set[str]] = {name: set() for name in desk.entries.exceptions}
    left = []
    for problem in found:
        lets = [
            name
            for name, exception in desk.entries.exceptions.items()
            if problem.about and exception.code == problem.code and set(problem.about) <= set(exception.entries)
        ]
        for name in lets:
            stood[name].update(problem.about)
        if not lets:
            left.append(problem)
    if desk.whole:
        left += _idle(desk, stood, codes)
    return left


def _idle(desk: Desk, stood: dict[str, set[str]], codes: Collection[str]) -> Iterator[Problem]:
    """An exception that nothing needs any more would hide the next slip."""
    for name, exception in desk.entries.exceptions.items():
        for n, entry in enumerate(exception.entries):
            if exception.code in codes and entry not in stood[name]:
                text = f"{exception.code} has nothing to say of {entry!r}; take it out of the exception"
                yield desk.problem("K327", text, "exceptions", name, "entries", n)


def exceptions_are_in_order(desk: Desk) -> Iterator[Problem]:
    """They stand in one file, name codes that can be let stand, and entries that there are."""
    home = None
    for name, exception in desk.entries.exceptions.items():
        place = desk.draft.at("exceptions", name)
        home = home or place.source
        if place.source != home:
            yield desk.problem("K328", f"the exceptions stand in one file: {home}", "exceptions", name)
        if exception.code not in (*AT_ONCE, *DEEP):
            text = f"there is no exception from {exception.code!r}, only from {', '.join((*AT_ONCE, *DEEP))}"
            yield desk.problem("K328", text, "exceptions", name, "code")
        for n, entry in enumerate(exception.entries):
            if entry not in desk.draft.declared and not desk.knows("findings", entry):
                yield desk.problem("K201", f"no entry {entry!r}", "exceptions", name, "entries", n)
