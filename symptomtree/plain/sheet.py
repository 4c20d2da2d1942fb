"""The job sheet: what a case comes to, as Markdown, for the rider and for the next mechanic."""

from typing import TYPE_CHECKING

from symptomtree.plain import show
from symptomtree.plain.text import clean

if TYPE_CHECKING:
    from symptomtree.reasoning.assess import Assessment

SIGNS = "\\`*_{}[]<>#|~"


def sheet(title: str, a: "Assessment") -> str:
    """Return the summary of a case as Markdown; nothing in its texts is taken for a mark."""
    out = [f"# {_plain(title)}", ""]
    for line in show.summary(a):
        if line == "Summary":
            continue
        if line.startswith("  - "):
            out.append(f"- {_plain(line[4:])}")
        elif line.endswith(":"):
            out += ["", f"## {_plain(line[:-1])}", ""]
        else:
            out += ["", _plain(line)]
    worth = f", parts worth about {a.state.parts:.0f} {show.money(a)}" if a.state.parts else ""
    if worth or a.state.minutes >= 0.5:
        out += ["", f"About {a.state.minutes:.0f} minutes of work{worth}."]
    return "\n".join(out) + "\n"


def _plain(text: str) -> str:
    return "".join(f"\\{sign}" if sign in SIGNS else sign for sign in clean(text))
