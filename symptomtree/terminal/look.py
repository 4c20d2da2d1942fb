"""How the screens look: three themes, and bars and words that do not need colour."""

from dataclasses import replace

from textual.theme import BUILTIN_THEMES, Theme

THEMES: dict[str, Theme] = {
    "dark": Theme(
        name="dark",
        primary="#6fa8a0",
        secondary="#8d9db6",
        accent="#e0b050",
        warning="#e0b050",
        error="#e06460",
        success="#7fb069",
        foreground="#e6e2d8",
        background="#1d1f1e",
        surface="#262928",
        panel="#303433",
        dark=True,
    ),
    "light": Theme(
        name="light",
        primary="#2f6f67",
        secondary="#4a5a75",
        accent="#825500",
        warning="#825500",
        error="#a3241f",
        success="#3c6e2b",
        foreground="#1c1c1a",
        background="#f4f1ea",
        surface="#ffffff",
        panel="#e4dfd3",
        dark=False,
    ),
    "plain": replace(BUILTIN_THEMES["ansi-dark"], name="plain"),  # the terminal's own 16 colours
}
LOOKS = {
    "dark": "light words on a dark ground",
    "light": "dark words on a light ground",
    "plain": "the terminal's own colours",
}
"""What each theme is like, in words."""
BAR = 8


def bar(share: float, width: int = BAR) -> str:
    """Return a share from 0 to 1 as a bar of `width` cells; anything at all shows at least half a cell."""
    halves = max(round(share * 2 * width), 1 if share > 0.005 else 0)
    return ("█" * (halves // 2) + "▌" * (halves % 2)).ljust(width, "·")


def moved(before: float | None, now: float) -> str:
    """Return how a probability moved since the last answer, as a sign that needs no colour."""
    if before is None or abs(now - before) < 0.01:
        return " "
    return "+" if now > before else "-"
