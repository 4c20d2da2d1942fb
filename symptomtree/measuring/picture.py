"""Pictures in signs: curves, bars and shades that can be read without colour, in as many cells as there are."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike

MARKS = "o+x*#@"
SHADES = " .:-=+*#%@"


def curves(
    lines: Mapping[str, tuple[ArrayLike, ArrayLike]],
    width: int,
    height: int,
    across: str,
    up: str,
    points: Mapping[str, tuple[ArrayLike, ArrayLike]] | None = None,
) -> list[str]:
    """Draw curves over one another, each of its own sign, with the ends of both axes in figures.

    Args:
        lines: legend -> (x, y), x rising; drawn through, in each column.
        width, height: cells to use; the legend takes one line for each curve.
        across, up: what the axes are, with their units.
        points: legend -> (x, y), only where they are.
    """
    drawn = {name: (_array(x), _array(y)) for name, (x, y) in {**lines, **(points or {})}.items()}
    least_x, most_x = _ends([x for x, _ in drawn.values()])
    least_y, most_y = _ends([y for _, y in drawn.values()])
    marks = dict(zip(drawn, MARKS, strict=False))
    head = [up, *(f"  {marks[name]} {name}" for name in drawn)]
    edge = max(len(_figure(least_y)), len(_figure(most_y))) + 1
    columns, rows = max(10, width - edge - 1), max(4, height - len(head) - 2)
    grid = [[" "] * columns for _ in range(rows)]
    for name, (x, y) in drawn.items():
        if name in lines:
            at = np.linspace(least_x, most_x, columns)
            places = [(c, float(v)) for c, v in enumerate(np.interp(at, x, y, left=np.nan, right=np.nan))]
        else:
            places = [
                (round((float(a) - least_x) / (most_x - least_x) * (columns - 1)), float(b))
                for a, b in zip(x, y, strict=True)
            ]
        for column, value in places:
            if np.isfinite(value):
                row = round((most_y - value) / (most_y - least_y) * (rows - 1))
                grid[row][column] = marks[name]
    side = [_figure(most_y), *[""] * (rows - 2), _figure(least_y)]
    body = [f"{s:>{edge}}|{''.join(row).rstrip()}" for s, row in zip(side, grid, strict=True)]
    foot = f"{'':{edge}}+{'-' * columns}"
    ends = (
        f"{'':{edge + 1}}{_figure(least_x)}{across:^{max(0, columns - len(_figure(least_x)) - len(_figure(most_x)))}}"
    )
    return [line[:width] for line in (*head, *body, foot, ends + _figure(most_x))]


def bars(values: Mapping[str, float], width: int, most: float | None = None, unit: str = "") -> list[str]:
    """Draw one bar for each name, its figure behind it."""
    label = max((len(name) for name in values), default=0)
    top = most or max([*values.values(), 0]) or 1.0
    room = max(5, width - label - 12)
    return [
        f"{name:<{label}} {'█' * max(0, min(room, round(value / top * room)))} {value:.3g}{unit}"[:width]
        for name, value in values.items()
    ]


def shades(values: ArrayLike, width: int, height: int) -> list[str]:
    """Draw a table of numbers (rows from the top, columns from the left) as light and dark signs."""
    table = np.atleast_2d(np.asarray(values, dtype=float))
    rows = [part.mean(axis=0) for part in np.array_split(table, min(height, len(table)))]
    cells = np.array([[part.mean() for part in np.array_split(row, min(width, len(row)))] for row in rows])
    low, high = float(cells.min()), float(cells.max())
    level = (cells - low) / (high - low) if high > low else np.zeros_like(cells)
    return ["".join(SHADES[int(v)] for v in np.minimum(row * len(SHADES), len(SHADES) - 1)) for row in level]


def table(head: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """Set words and figures in columns as wide as they need, the last one to the left, the others to the right."""
    lines = [tuple(head), *(tuple(row) for row in rows)]
    wide = [max(len(cell) for cell in column) for column in zip(*lines, strict=True)]
    return [
        "  ".join([*(f"{c:>{w}}" for c, w in zip(line[:-1], wide, strict=False)), line[-1]]).rstrip()[:width]
        for line in lines
    ]


def spans(ranges: Mapping[str, tuple[float, float]], width: int, unit: str = "") -> list[str]:
    """Draw each range on one scale from 0 on, its figures behind it; a range without length is a point, 'x'."""
    label = max((len(name) for name in ranges), default=0)
    figures = {
        name: (_figure(low) if low == high else f"{_figure(low)}-{_figure(high)}") + unit
        for name, (low, high) in ranges.items()
    }
    room = max(5, width - label - 2 - max((len(f) for f in figures.values()), default=0))
    top = max((high for _, high in ranges.values()), default=0) or 1.0
    lines = []
    for name, (low, high) in ranges.items():
        first, last = (min(room - 1, max(0, round(at / top * (room - 1)))) for at in (low, high))
        drawn = "x" if low == high else "█" * (last - first + 1)
        lines.append(f"{name:<{label}} {'·' * first}{drawn}{'·' * (room - first - len(drawn))} {figures[name]}"[:width])
    return lines


def _array(values: ArrayLike) -> np.ndarray:
    return np.asarray(values, dtype=float)


def _ends(arrays: Sequence[np.ndarray]) -> tuple[float, float]:
    """Return the least and the most of several arrays, never the same."""
    every = np.concatenate([np.atleast_1d(a) for a in arrays])
    every = every[np.isfinite(every)]
    if not len(every):
        return 0.0, 1.0
    least, most = float(every.min()), float(every.max())
    return (least, most) if most > least else (least - 0.5, most + 0.5)


def _figure(value: float) -> str:
    return f"{value:.3g}"
