"""Case files: read with positions, checked against the knowledge, written in one move."""

import os
import re
import tempfile
from collections.abc import Iterator
from math import isfinite
from pathlib import Path as FilePath
from typing import TYPE_CHECKING

import msgspec
import yaml

from symptomtree.cases.model import (
    BESIDES,
    HAND_OVER,
    Answer,
    AnyEvent,
    Case,
    Context,
    Correction,
    FixDone,
    LeftOut,
    Opened,
    Reading,
    Unsure,
)
from symptomtree.kb.model import Observable
from symptomtree.kb.nodes import MISSING, Builder, Place, Problem, nearest, read_struct

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase


class BadCase(Exception):
    """A case file that cannot be used; the message has a line per problem."""


def read_case(path: FilePath, kb: "KnowledgeBase") -> Case:
    """Read a case file and check it against the knowledge.

    Raises:
        BadCase: it cannot be read, is damaged, or names what the knowledge does not have.
    """
    case, builder = read_struct(path, Case, BadCase, "a case file")
    problems = list(builder.problems)
    if case is not MISSING:
        problems += case_problems(case, kb, builder)
    if problems:
        raise BadCase("\n".join(str(p) for p in sorted(problems)))
    assert isinstance(case, Case)
    return case


def case_problems(case: Case, kb: "KnowledgeBase", builder: Builder) -> Iterator[Problem]:
    """Yield everything a case says that the knowledge does not know."""
    for n, event in enumerate(case.events):
        for key, text in event_problems(event, kb, case.events[:n]):
            yield Problem(_at(builder, "events", n, key), "C201", f"event {n + 1}: {text}")
    if case.known:
        for key, names, known in (
            ("cause", [case.known.cause], list(kb.cause_ids)),
            ("also-accept", case.known.also_accept, list(kb.cause_ids)),
            ("fix", [case.known.fix] if case.known.fix else [], list(kb.entries.fixes)),
        ):
            for name in names:
                if name not in known:
                    yield Problem(_at(builder, "known", key), "C201", f"no entry {name!r}{nearest(name, known)}")


def _at(builder: Builder, *path: str | int) -> Place:
    while path and path not in builder.places:
        path = path[:-1]
    return builder.places[path]


def event_problems(event: AnyEvent, kb: "KnowledgeBase", before: list[AnyEvent]) -> Iterator[tuple[str, str]]:
    """Yield (key, text) for what is wrong with one event after those before it."""
    match event:
        case Context(fact=fact, value=value):
            if fact not in kb.entries.facts:
                yield "fact", f"no fact {fact!r}{nearest(fact, list(kb.entries.facts))}"
            elif value not in kb.entries.facts[fact].values:
                yield "value", _not_of(value, fact, list(kb.entries.facts[fact].values))
        case Answer(finding=finding, grade=grade):
            if finding not in kb.findings:
                yield "finding", f"no finding {finding!r}{nearest(finding, list(kb.findings))}"
            elif grade not in kb.findings[finding].grades:
                yield "grade", _not_of(grade, finding, kb.grades(finding))
        case Reading(finding=finding, value=number):
            yield from (("finding", text) for text in _reading_problems(finding, number, kb))
        case Unsure(about=about):
            known = [*kb.findings, *kb.entries.facts, *kb.entries.questions, *kb.entries.checks]
            if about not in known:
                yield "about", f"nothing is called {about!r}{nearest(about, known)}"
        case FixDone(fix=fix):
            if fix not in kb.entries.fixes:
                yield "fix", f"no fix {fix!r}{nearest(fix, list(kb.entries.fixes))}"
        case Opened(access=access):
            if access is not None and access not in kb.entries.access:
                yield "access", f"no access state {access!r}{nearest(access, list(kb.entries.access))}"
        case LeftOut(about=about):
            known = [*kb.entries.fixes, *kb.entries.checks, HAND_OVER, BESIDES]
            if about not in known and not re.fullmatch(r"events(-[1-9]\d{0,5})+", about):
                yield "about", f"nothing that can be left out is called {about!r}{nearest(about, known)}"
        case Correction(number=number):
            if number > len(before):
                yield "number", f"there is no event {number} before this one"
            else:
                yield from ((key, text) for key, text in _correction_problems(event, before[number - 1], kb))
        case _:
            return


def _not_of(value: str, of: str, known: list[str]) -> str:
    return f"{value!r} is none of {', '.join(known)} ({of}){nearest(value, known)}"


def _reading_problems(finding: str, number: float, kb: "KnowledgeBase") -> Iterator[str]:
    known = kb.findings.get(finding)
    readings = [name for name, f in kb.findings.items() if isinstance(f, Observable) and f.reading]
    if not isinstance(known, Observable) or not known.reading:
        yield f"no reading {finding!r}{nearest(finding, readings)}"
        return
    low, high = known.reading.span
    if not low <= number <= high:
        yield f"{number:g} is outside {low:g} to {high:g} {known.reading.unit} ({finding}); is the unit right?"


def _correction_problems(event: Correction, target: AnyEvent, kb: "KnowledgeBase") -> Iterator[tuple[str, str]]:
    try:
        corrected = corrected_event(target, event)
    except ValueError as error:
        yield "number", str(error)
        return
    if corrected is not None and not isinstance(corrected, Correction):
        yield from event_problems(corrected, kb, [])


def corrected_event(target: AnyEvent, correction: Correction) -> AnyEvent | None:
    """Return what an event is after a correction; None when it was taken back.

    Raises:
        ValueError: that kind of event cannot carry the correction's grade or value.
    """
    if correction.grade is None and correction.value is None:
        return None
    match target:
        case Answer() if correction.grade is not None:
            return msgspec.structs.replace(target, grade=correction.grade, sure=1.0)
        case Reading() if correction.value is not None and _is_number(correction.value):
            return msgspec.structs.replace(target, value=float(correction.value))
        case Context() if isinstance(correction.value, str):
            return msgspec.structs.replace(target, value=correction.value)
        case _:
            kind = type(target).__struct_config__.tag
            raise ValueError(
                f"event {correction.number} is a {kind}; correct it with a grade, a number or a value of its own"
            )


def _is_number(value: float | str) -> bool:
    try:
        return isfinite(float(value))
    except ValueError:
        return False


def write_case(path: FilePath, case: Case) -> None:
    """Write a case in one move.

    Raises:
        OSError: the folder cannot be written.
    """
    write_whole(path, as_yaml(case))


def as_yaml(entry: msgspec.Struct) -> str:
    """Return a struct as the YAML text that `read_struct` reads."""
    return yaml.dump(
        msgspec.to_builtins(entry), Dumper=yaml.CSafeDumper, sort_keys=False, allow_unicode=True, width=110
    )


def write_whole(path: FilePath, text: str) -> None:
    """Write a file in one move: a cut-off write leaves it as it was.

    Raises:
        OSError: the folder cannot be written.
    """
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        os.unlink(name)
        raise
