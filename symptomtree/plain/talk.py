"""One person at a line-based terminal or pipe: says lines, reads lines, and never breaks on odd bytes."""

import io
import sys
from typing import TextIO

from symptomtree.plain.text import clean, wrapped

LONGEST_LINE = 20_000


class Ended(Exception):
    """The input is at its end: a pipe ran dry, or Ctrl-D."""


class Talk:
    """Says lines and reads lines. No colour, no cursor: what a screen reader or a log can follow."""

    def __init__(self, source: TextIO | None = None, target: TextIO | None = None) -> None:
        self._in = source or sys.stdin
        self._out = target or sys.stdout
        for stream in (self._in, self._out):
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")
        # In a pipe nobody sees what was typed: writing it down makes the output a record that reads well.
        self._echo = self._in is None or not self._in.isatty()

    def say(self, *texts: str) -> None:
        """Write texts, each on lines of its own, wrapped; an empty text is an empty line."""
        for text in texts:
            lead = text[: len(text) - len(text.lstrip(" "))]
            for line in wrapped(lead + clean(text)):
                print(line, file=self._out)

    def say_whole(self, text: str) -> None:
        """Write one line that is not wrapped, for copying."""
        print(clean(text), file=self._out)

    def draw(self, row: str) -> None:
        """Write one row of a picture as it is; it holds no text from outside."""
        print(row, file=self._out)

    def read(self) -> str:
        """Return the next line, cleaned.

        Raises:
            Ended: there is none.
        """
        print("> ", end="", file=self._out, flush=True)
        line = self._in.readline() if self._in else ""
        if not line:
            print(file=self._out)
            raise Ended
        line = clean(line)
        if self._echo:
            print(line, file=self._out)
        if len(line) > LONGEST_LINE:
            self.say(f"That is very long: only its first {LONGEST_LINE} characters are kept.")
        return line[:LONGEST_LINE]
