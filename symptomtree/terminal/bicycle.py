"""A bicycle drawn from the side, whose areas light up: the way in for who does not know the names of the parts."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from rich.style import Style
from rich.text import Text
from textual import events
from textual.binding import Binding, BindingType
from textual.message import Message
from textual.reactive import reactive
from textual.widget import Widget

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase


AREAS: dict[str, tuple[str, tuple[str, ...]]] = {
    # letter in the mask: (what it is called, the parts that begin it)
    "b": ("bars, levers, steering", ("cockpit", "brake-lever", "shifter")),
    "k": ("brakes", ("brake",)),
    "w": ("wheels and tyres", ("wheel",)),
    "g": ("gears at the back", ("shifting", "sprockets", "freehub")),
    "c": ("chain and drive", ("drivetrain",)),
    "r": ("cranks, pedals, front rings", ("crank", "chainrings", "bottom-bracket", "pedals", "front-mech")),
    "s": ("saddle and post", ("seat",)),
    "u": ("fork and suspension", ("suspension",)),
    "m": ("motor and battery", ("electric-drive",)),
    "f": ("frame, and anywhere", ("bike",)),
}


@dataclass(frozen=True)
class Drawing:
    """A picture, and for each sign of it the letter of the area that it belongs to."""

    picture: tuple[str, ...]
    mask: tuple[str, ...]


LARGE = Drawing(
    (
        "           _______             .___.    ",
        "           `--.--'             |  _/    ",
        "      ___     |________________\\        ",
        "   .-'[_]`-.  |\\              / \\ ___   ",
        "  /    |    \\ | \\            / .\\[_]`-. ",
        " |     |     \\|  \\          / /  \\    \\ ",
        " |   --@======\\===\\________/  |   O    |",
        "  \\    #     /=====(###)      \\       / ",
        "   `-.___.-'       _/|         `-.__.-' ",
        "                     |_                 ",
    ),
    (
        "           sssssss             bbbbb    ",
        "           sssssss             bbbbb    ",
        "      www     fffffffffffffffff         ",
        "   wwwkkkwww  ff              f u www   ",
        "  w    w    w f f            f wukkkwww ",
        " w     w     wf  f          f w  u    w ",
        " w   gggccccccfcccfmmmmmmmmf  w   u    w",
        "  w    g     wcccccrrrrr      w       w ",
        "   wwwwwwwww       rrr         wwwwwwww ",
        "                     rr                 ",
    ),
)
SMALL = Drawing(
    (
        "      _____       ___     ",
        "        |_________\\       ",
        " .-[]-. |        / \\-[]-. ",
        "/      \\|       / / \\    \\",
        "\\  @====(#)____/  \\  O   /",
        " `-__-'  |_        `-__-' ",
    ),
    (
        "      sssss       bbb     ",
        "        fffffffffff       ",
        " wwkkww f        f uwkkww ",
        "w  g   wf       f w u    w",
        "w ggccccrrrmmmmf  w  u   w",
        " wwwwww  rr        wwwwww ",
    ),
)


def area_of(kb: "KnowledgeBase", part: str) -> str:
    """Return the letter of the area that a part belongs to: that of the nearest part around it which begins one."""
    begins = {name: letter for letter, (_, names) in AREAS.items() for name in names}
    at: str | None = part
    while at is not None:
        if at in begins:
            return begins[at]
        at = kb.entries.parts[at].inside
    return "f"


def symptoms_in(kb: "KnowledgeBase", letter: str) -> list[str]:
    """Return the symptoms of an area that stand for themselves, by name."""
    found = [s for s, e in kb.entries.symptoms.items() if not e.asked_when and area_of(kb, e.part) == letter]
    return sorted(found, key=kb.name_of)


class Bicycle(Widget, can_focus=True):
    """The drawing. Arrows go from area to area, Enter or a click chooses one."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("right,down,j", "turn(1)", "Next area", show=False),
        Binding("left,up,h", "turn(-1)", "Area before", show=False),
        Binding("enter,space", "choose", "Choose area", show=False),
    ]
    DEFAULT_CSS = "Bicycle { width: 42; height: 12; padding: 0 1; }"
    lit: reactive[frozenset[str]] = reactive(frozenset[str]())
    """Areas that what was said is about."""
    at: reactive[str] = reactive("")
    """The area that is chosen."""

    @dataclass
    class Chosen(Message):
        """An area was chosen."""

        letter: str

    @property
    def drawing(self) -> Drawing:
        """The one that there is room for."""
        return LARGE if self.size.width >= len(LARGE.picture[0]) else SMALL

    def render(self) -> Text:
        out = Text()
        for row, mask in zip(self.drawing.picture, self.drawing.mask, strict=True):
            for sign, letter in zip(row, mask, strict=True):
                chosen = letter == self.at and sign != " "
                out.append(sign, Style(reverse=chosen, bold=letter in self.lit or chosen))
            out.append("\n")
        name = AREAS[self.at][0] if self.at else "arrows, then Enter, or a click"
        also = ", ".join(AREAS[x][0] for x in AREAS if x in self.lit)
        out.append(f"[{name}]" if self.at else name, Style(bold=bool(self.at)))
        out.append(f"\nabout: {also}" if also else "")
        return out

    def action_turn(self, by: int) -> None:
        letters = list(AREAS)
        self.at = letters[(letters.index(self.at) + by) % len(letters) if self.at else 0]

    def action_choose(self) -> None:
        if not self.at:
            self.action_turn(1)
        self.post_message(self.Chosen(self.at))

    def on_click(self, event: events.Click) -> None:
        x, y = event.x - 1, event.y
        near = [
            (abs(y - row) * 2 + abs(x - column), letter)
            for row, line in enumerate(self.drawing.mask)
            for column, letter in enumerate(line)
            if letter != " "
        ]
        self.at = min(near)[1]
        self.action_choose()
