"""Starts the dialogue: opens what it needs and decides where the case is kept."""

from pathlib import Path

from symptomtree.cases.files import BadCase, read_case
from symptomtree.cases.model import Case
from symptomtree.kb.compile import open_knowledge
from symptomtree.plain.dialogue import Dialogue
from symptomtree.plain.keeper import Keeper, default_path
from symptomtree.plain.talk import LONGEST_LINE, Talk
from symptomtree.plain.text import clean
from symptomtree.reasoning.profiles import profile_named


def ask(
    complaint: str = "",
    *,
    knowledge: Path | None = None,
    keep: Path | None = None,
    resume: Path | None = None,
    save: bool = True,
    profile: str = "new-mechanic",
) -> int:
    """Talk a case through. Returns the exit code.

    Args:
        complaint: what is wrong, when it was given with the command.
        knowledge: a folder (default: what ships).
        keep: the file that a new case is kept in (default: one in the user's data folder).
        resume: a case file to go on with; it is kept there, unless `keep` names another or it is a walkthrough.
        save: whether anything is saved.
        profile: whose time, money, tools and skill it is: the name of a preset, or a profile file.

    Raises:
        BadCase, BadProfile, Faulty, Unreadable: an input cannot be used; the message says which and why.
    """
    kb = open_knowledge(knowledge)
    case = read_case(resume, kb) if resume else Case(symptomtree_case=1, title="A case without a complaint yet")
    if keep and keep.exists() and keep != resume:
        raise BadCase(f"{keep}: is there already; go on with it by --resume, or name another file")
    if keep and not keep.absolute().parent.is_dir():
        raise BadCase(f"{keep}: no such folder; make it first, or name another file")
    # A walkthrough is somebody's lesson: going on with it must not write over it.
    path = keep or (resume if resume and not case.known else default_path())
    talk = Talk()
    keeper = Keeper(kb, case, path if save else None, profile_named(profile, kb), talk.say)
    return Dialogue(talk, keeper).run(clean(complaint)[:LONGEST_LINE])
