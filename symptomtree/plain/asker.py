"""Asks one thing at a time, and answers what the person asks back: `?`, `why`, `help`; other commands go up."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum, auto

from symptomtree.kb.model import Reading
from symptomtree.plain.answers import Option, close, command, exact, label, near_command
from symptomtree.plain.talk import Talk
from symptomtree.plain.text import Measured, measured, same_unit


class Reply(Enum):
    """An answer that is none of the options."""

    UNSURE = auto()
    SKIP = auto()


@dataclass(frozen=True, slots=True)
class Prompt:
    """One thing to ask.

    Attributes:
        text: the question.
        options: to choose from, numbered; lettered when a number is a reading.
        reading: how a number is taken, None when it cannot be one.
        how: the lines that `?` shows.
        why: what `why` says, and at the second time its figures.
        free: whether any words are an answer.
    """

    text: str
    options: Sequence[Option] = ()
    reading: Reading | None = None
    how: Sequence[str] = ()
    why: Sequence[str] = ()
    numbers: Sequence[str] = ()
    free: bool = False


HELP = (
    "At any prompt:",
    "  - a number or the words of an answer; for a measurement the number, like 1.6 mm",
    "  - ?  how to look or do it",
    "  - why  what it would settle and what it costs; why again, or numbers, for the figures",
    "  - why not NAME  why another check, question or fix does not come now",
    "  - not sure  when you cannot tell; skip  to leave this step out",
    "  - back  takes back your last answer, as often as you like",
    "  - list  how the causes stand; list 2  what speaks for and against the second",
    "  - fix  goes to the best fix now",
    "  - also TEXT  something else that is wrong; parts  picks it from the parts of the bike",
    "  - measure  works the answer out from readings, where there is a tool for it",
    "  - note TEXT  writes something down; stop  leaves, the case is saved; help  shows this",
)


class Asker:
    """Asks prompts until an answer comes."""

    def __init__(self, talk: Talk, commands: dict[str, Callable[[str], None]]) -> None:
        """Take what is needed.

        Args:
            talk: to the person.
            commands: name -> what it does with the text after it; it may raise to leave the prompt.
        """
        self._talk = talk
        self._commands = commands

    def ask(self, prompt: Prompt) -> Option | Measured | Reply | str:
        """Return the answer: an option, a number in the unit asked for, not sure, skip, or free words.

        Raises:
            Ended: the input is at its end.
        """
        self._show(prompt)
        whys = 0
        while True:
            line = self._talk.read()
            said = command(line)
            chosen = exact(line, prompt.options, bool(prompt.reading))
            if chosen and said:
                name = self._label(prompt, chosen)
                other = ", or undo to take back your last answer" if said.name == "back" else ""
                self._talk.say(f"'{line}' can be an answer or a command here. Type {name} for the answer{other}.")
            elif chosen:
                return chosen
            elif said and said.name in ("unsure", "skip"):
                return Reply.UNSURE if said.name == "unsure" else Reply.SKIP
            elif said and said.name in ("why", "numbers"):
                whys += 1
                self._why(prompt, figures=said.name == "numbers" or whys > 1)
            elif said and said.name in ("how", "help"):
                how = prompt.how or ("There is no more to say on how.",)
                self._talk.say(*(HELP if said.name == "help" else how))
                self._show(prompt)
            elif said:
                self._commands[said.name](said.rest)
                self._show(prompt)
            elif not line:
                self._talk.say(f"{self._accepts(prompt)} Help: help.")
            elif prompt.free:
                return line
            elif (number := self._number(prompt, line)) is not None:
                if isinstance(number, Measured):
                    return number
                self._talk.say(number)
            elif taken := self._by_words(prompt, line):
                return taken

    def _number(self, prompt: Prompt, line: str) -> Measured | str | None:
        """Return the reading that a line is, or what is wrong with it; None when it is no number."""
        number = measured(line)
        if number is None or prompt.reading is None:
            return None
        unit, (low, high) = prompt.reading.unit, prompt.reading.span
        if not same_unit(number.unit, unit):
            return f"The number is needed in {unit}, not in {number.unit}."
        if not low <= number.value <= high:
            return f"{number.value:g} is outside {low:g} to {high:g} {unit}. A slip, or another unit? Type it again."
        return number

    def _by_words(self, prompt: Prompt, line: str) -> Option | None:
        sure, perhaps = close(line, prompt.options)
        if sure:
            self._talk.say(f"Taken as {self._label(prompt, sure)}: {sure.words}. (back takes it back)")
            return sure
        near = near_command(line)
        hint = ""
        if perhaps:
            hint = f" Did you mean {self._label(prompt, perhaps)} ({perhaps.words})?"
        elif near:
            hint = f" Did you mean {near}?"
        self._talk.say(f"'{_short(line)}' is not understood.{hint} {self._accepts(prompt)} Help: help.")
        return None

    def _why(self, prompt: Prompt, figures: bool) -> None:
        self._talk.say(*(prompt.why or ("It is needed to go on.",)))
        if figures:
            self._talk.say(*(prompt.numbers or ("  There are no figures behind this.",)))

    def _show(self, prompt: Prompt) -> None:
        lettered = bool(prompt.reading)
        self._talk.say(prompt.text)
        if prompt.reading:
            self._talk.say(f"Type the number in {prompt.reading.unit}, or without measuring:")
        self._talk.say(*(f"  {label(n, lettered)}. {o.words}" for n, o in enumerate(prompt.options)))

    def _label(self, prompt: Prompt, option: Option) -> str:
        return label(list(prompt.options).index(option), bool(prompt.reading))

    def _accepts(self, prompt: Prompt) -> str:
        if prompt.free:
            return "Type it in your own words."
        labels = [self._label(prompt, o) for o in prompt.options]
        number = f"a number in {prompt.reading.unit}, or " if prompt.reading else ""
        return f"Type {number}{', '.join(labels)}, or not sure."


def _short(line: str) -> str:
    return line if len(line) <= 40 else f"{line[:40]}..."
