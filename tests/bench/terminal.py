"""How fast the screens are: to the first one, beside an empty application, and from a key to the redrawn screen.

    python -m tests.bench.terminal

Times are milliseconds. Both applications start in turn, each in a terminal of its own, and the time runs from the
start of the process to the bytes that hold the first heading. The empty application shows one line and nothing else:
what it takes is Python and the screen library. Keys are timed in process: from the press to the first drawing that
shows what came of it, over whole cases on the knowledge that ships; in the first of them everything is asked back.
"All" is the time to the drawing after which nothing changes: the lists beside a question follow it. Between keys lies a
second, which is less than anyone takes to read a question and answer it.
"""

import asyncio
import os
import pty
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command itself does, before numpy is loaded

from textual._compositor import Compositor
from textual.widgets import OptionList, Static

from symptomtree.cases.model import Answer, Complaint, Context
from symptomtree.terminal.app import SymptomtreeApp
from tests.hands import Hands, at_work

STARTS, CASES = 9, 3
READING = 1.0
"""Seconds between keys."""
LOOKING = 0.1
"""Seconds between looks at whether the screen has been drawn; the time itself is taken at the drawing."""
AIM_RATIO, AIM_KEY = 2.0, 50.0
HEADING = b"What is wrong with the bike?"
OURS = [sys.executable, "-m", "symptomtree"]
EMPTY = [
    sys.executable,
    "-c",
    "from textual.app import App\n"
    "from textual.widgets import Label\n"
    "class Empty(App):\n"
    f"    def compose(self): yield Label({HEADING.decode()!r})\n"
    "Empty().run()\n",
]
TOLD = (
    Complaint(text="the lever comes to the bar"),
    Answer(finding="lever-travel", grade="to-bar", complaint=True),
    Context(fact="brake-type", value="hydraulic-disc"),
)
ASKED_BACK = ["w", "escape", "i", "escape", "a", "escape", "x", "escape", "c", "n", "escape", "f", "escape"]


def first_screen(command: Sequence[str]) -> float:
    """Return the time from the start of a process to its first heading."""
    begun = perf_counter()
    child, terminal = pty.fork()
    if child == 0:
        os.environ.update(TERM="xterm-256color", COLUMNS="80", LINES="24")
        os.execv(command[0], list(command))
    said = b""
    while HEADING not in said:
        said += os.read(terminal, 65536)
    took = (perf_counter() - begun) * 1e3
    os.kill(child, 9)
    os.waitpid(child, 0)
    os.close(terminal)
    return took


def starting() -> float:
    """Print a table; return how many times as long as an empty application ours takes."""
    first_screen(OURS)  # the knowledge is compiled once, by whoever starts first
    first_screen(EMPTY)
    ours, empty = [], []
    for _ in range(STARTS):
        ours.append(first_screen(OURS))
        empty.append(first_screen(EMPTY))
    ratio = median(ours) / median(empty)
    print(f"\nFrom the start of the process to the first screen, {STARTS} starts of each in turn")
    print("                median   fastest   slowest")
    for name, times in (("symptomtree", ours), ("empty", empty)):
        print(f"  {name:12s} {median(times):8.0f} {min(times):9.0f} {max(times):9.0f}")
    print(f"  ratio {ratio:.2f}")
    return ratio


class Watch:
    """Takes the time from a key to the first drawing that shows what came of it."""

    def __init__(self, hands: Hands) -> None:
        self.hands = hands
        self.drawn: float | None = None
        self.drawings: list[tuple[float, object]] = []
        self.before: object = None
        draw = Compositor.render_update

        def watched(*args: Any, **options: Any) -> Any:
            made = draw(*args, **options)
            if made is not None:
                made.render_segments(hands.app.console)  # what the driver writes to a terminal
                at, shown = perf_counter(), self.shown(beside=True)
                self.drawings.append((at, shown))
                if self.drawn is None and self.shown() != self.before:
                    self.drawn = at
            return made

        Compositor.render_update = watched

    def shown(self, beside: bool = False) -> object:
        """Return what tells one state of the screens from the next, the lists beside it included or not."""
        screen = self.hands.app.screen
        there = screen.is_mounted
        card = screen.query("#title, #question").results(Static) if there else ()
        lists = screen.query("#causes, #steps").results(Static) if there and beside else ()
        return (
            screen if there else self.before,
            [str(part.content) for part in card],
            [str(part.content) for part in lists],
            self.hands.app.focused,
        )

    async def time(self, key: str) -> tuple[float, float] | None:
        """Return milliseconds to the first drawing and to the whole; None when the key changed nothing that is seen."""
        await asyncio.sleep(READING)
        self.drawn, self.before, self.drawings = None, self.shown(), []
        begun = perf_counter()
        self.hands.send(key)
        for _ in range(40):
            await asyncio.sleep(LOOKING)
            if self.drawn:
                await asyncio.sleep(4 * LOOKING)
                last = self.shown(beside=True)
                whole = next(at for at, shown in self.drawings if shown == last)
                return (self.drawn - begun) * 1e3, (max(whole, self.drawn) - begun) * 1e3
        return None


async def case(asking: bool) -> dict[str, list[tuple[float, float]]]:
    """Work a case with the first answer to each question; return the times by key."""
    took: dict[str, list[tuple[float, float]]] = {}
    app = SymptomtreeApp()
    async with at_work(app) as hands:
        app.begin(TOLD)
        await hands.settle()
        watch = Watch(hands)
        for _ in range(60):
            if hands.name != "BenchScreen" or not app.screen.query_one("#choices", OptionList).option_count:
                break
            for key in [*(ASKED_BACK if asking else []), "enter"]:
                time = await watch.time(key)
                if time is not None:
                    took.setdefault(key, []).append(time)
    return took


def keys() -> tuple[float, float]:
    """Print a table; return the 95th percentiles of an answer: to the next question, and to the whole screen."""
    whole: dict[str, list[tuple[float, float]]] = {}
    draw = Compositor.render_update
    for n in range(CASES):
        for key, times in asyncio.run(case(asking=n == 0)).items():
            whole.setdefault(key, []).extend(times)
        Compositor.render_update = draw
    print("\nFrom a key to the redrawn screen, a case on the knowledge that ships")
    print("  key        presses   median   95th percentile   worst   all: median   95th")
    for key, times in whole.items():
        first, last = zip(*times, strict=True)
        print(
            f"  {key:10s} {len(times):7d} {median(first):8.1f} {percentile(first):17.1f} {max(first):7.1f}"
            f" {median(last):13.1f} {percentile(last):6.1f}"
        )
    first, last = zip(*whole["enter"], strict=True)
    return percentile(first), percentile(last)


def percentile(times: Sequence[float]) -> float:
    return quantiles(times, n=20)[-1] if len(times) > 1 else times[0]


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
            os.environ[name] = str(Path(folder) / name)
        ratio, (key, all_) = starting(), keys()
    print()
    for what, figure, aim, met in (
        ("first screen, times an empty application", ratio, AIM_RATIO, ratio <= AIM_RATIO),
        ("an answer to the next question, 95th percentile, ms", key, AIM_KEY, key <= AIM_KEY),
        ("an answer to the whole screen, 95th percentile, ms", all_, AIM_KEY, all_ <= AIM_KEY),
    ):
        print(f"{'met   ' if met else 'MISSED'} {what}: {figure:.1f} (aim {aim:g})")


if __name__ == "__main__":
    main()
