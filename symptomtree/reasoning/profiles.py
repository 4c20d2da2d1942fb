"""Whose time, money, tools and skill it is: three presets, or a file of one's own."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from msgspec import Meta

from symptomtree.kb.model import Entry, Id, Skill, Text
from symptomtree.kb.nodes import MISSING, Builder, Place, Problem, nearest, read_struct
from symptomtree.reasoning.costs import Profile

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase

HOME_TOOLS = frozenset({"hex-keys", "screwdriver", "rags", "chain-lube", "grease", "brush", "gloves", "steel-rule"})
"""What a home rider is taken to own; from memory."""

PRESETS: dict[str, Profile] = {
    "home-rider": Profile(per_minute=0.1, hand_over=30.0, skill="rider", tools=HOME_TOOLS),
    "new-mechanic": Profile(per_minute=0.5, hand_over=60.0, skill="mechanic", hands=2),
    "senior-technician": Profile(per_minute=1.0, hand_over=150.0, skill="specialist", hands=2),
}
"""Rates and the price of handing over are from memory, and only their ratio matters."""


class BadProfile(Exception):
    """A profile that cannot be used; the message has a line per problem."""


class ProfileFile(Entry, frozen=True, kw_only=True):
    """What a profile file may say; what it leaves out is taken from the preset it is `like`."""

    like: Literal["home-rider", "new-mechanic", "senior-technician"] = "new-mechanic"
    hourly_rate: Annotated[float, Meta(ge=0, le=10_000)] | None = None
    """Worth of an hour of your time; 0 when it is free."""
    hand_over: Annotated[float, Meta(ge=0, le=100_000)] | None = None
    """What it costs you to give the bike to a workshop, before any work is done there."""
    skill: Skill | None = None
    tools: list[Id] | None = None
    """All the tools at hand; leave it out to have those of the preset."""
    people: Annotated[int, Meta(ge=1, le=3)] | None = None
    currency: Text | None = None
    """The label of your money, as you want to read it."""


def profile_named(name: str, kb: "KnowledgeBase") -> Profile:
    """Return a preset by its name, or the profile in a file.

    Raises:
        BadProfile: no preset has that name and no file can be read there, or the file says what it may not.
    """
    if name in PRESETS:
        return PRESETS[name]
    path = Path(name)
    if not path.exists():
        known = ", ".join(PRESETS)
        raise BadProfile(f"no profile {name!r}{nearest(name, list(PRESETS))}; name one of {known}, or a profile file")
    built, builder = read_struct(path, ProfileFile, BadProfile, "a profile file")
    problems = list(builder.problems)
    if built is not MISSING:
        problems += _unknown_tools(built, kb, builder)
    if problems:
        raise BadProfile("\n".join(str(p) for p in sorted(problems)))
    assert isinstance(built, ProfileFile)
    like = PRESETS[built.like]
    return Profile(
        per_minute=like.per_minute if built.hourly_rate is None else built.hourly_rate / 60,
        hand_over=like.hand_over if built.hand_over is None else built.hand_over,
        skill=built.skill or like.skill,
        tools=like.tools if built.tools is None else frozenset(built.tools),
        hands=built.people or like.hands,
        currency=built.currency or "",
    )


def _unknown_tools(built: ProfileFile, kb: "KnowledgeBase", builder: Builder) -> list[Problem]:
    places: dict[tuple[str | int, ...], Place] = builder.places
    return [
        Problem(places["tools", n], "P201", f"no tool {tool!r}{nearest(tool, list(kb.entries.tools))}")
        for n, tool in enumerate(built.tools or ())
        if tool not in kb.entries.tools
    ]
