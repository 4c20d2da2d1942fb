"""Sums over all sets of causes, exactly and without subtraction, on the lattice of what is already explained.

The joint state of the axes (see `evidence`) is a tensor with one dimension per finding that is *open*: one that some
cause already handled touches and some cause still to come touches too. Causes are eliminated one by one (Zhang and
Poole 1994, "A simple approach to Bayesian network computations"; here with noisy-MAX links kept as products, so no
table over causes is ever built). All terms are positive, so nothing cancels. Cost grows with the product of the states
of the findings open at once, not with their number in all.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import log2

import numpy as np
from numpy.typing import NDArray

from symptomtree.reasoning.evidence import Array, Axis

Ints = NDArray[np.int64]


@dataclass(slots=True)
class Option:
    """One way a cause can be: present until some fix, or until now.

    Attributes:
        weight: its share of the prior times the likelihood of all findings that need no state.
        moves: axis -> M (K, K), M[to, from]; triangular, never all zero.
        now: whether the cause is still there today.
    """

    weight: float
    moves: dict[int, Array]
    now: bool


@dataclass(slots=True)
class Variable:
    """A cause with its options; `absent` is the weight of not being there at all."""

    cause: int
    absent: float
    options: list[Option]

    @property
    def axes(self) -> set[int]:
        return {axis for option in self.options for axis in option.moves}


@dataclass(slots=True)
class Plan:
    """The order of work: ('open', axis), ('cause', index of variable) and ('close', axis).

    Attributes:
        steps: in order.
        width: greatest product of states open at once.
    """

    steps: list[tuple[str, int]]
    width: int


def plan(variables: Sequence[Variable], axes: Sequence[Axis]) -> Plan:
    """Order the causes so that few findings are open at once (greedy: least new state, then most closing)."""
    waiting: dict[int, set[int]] = {a: set() for a in range(len(axes))}
    for v, variable in enumerate(variables):
        for a in variable.axes:
            waiting[a].add(v)
    bits = [log2(axis.states) for axis in axes]
    steps: list[tuple[str, int]] = []
    for a, causes in waiting.items():
        if not causes:  # a finding that no cause touches is the leak's alone
            steps += [("open", a), ("close", a)]
    opened: set[int] = set()
    size = width = 0.0
    left = {v: frozenset(variable.axes) for v, variable in enumerate(variables)}

    def growth(v: int) -> tuple[float, int]:
        """State that handling v adds and leaves behind, in bits."""
        return sum((a not in opened) * bits[a] - (len(waiting[a]) == 1) * bits[a] for a in left[v]), v

    while left:
        best = min(left, key=growth)
        touched = sorted(left.pop(best))
        for a in touched:
            if a not in opened:
                opened.add(a)
                steps.append(("open", a))
                size += bits[a]
        width = max(width, size)
        steps.append(("cause", best))
        for a in touched:
            waiting[a].discard(best)
            if not waiting[a]:
                steps.append(("close", a))
                size -= bits[a]
    return Plan(steps, round(2**width))


def _apply(tensor: Array, matrix: Array, dim: int, transposed: bool = False) -> Array:
    """Multiply `matrix` (or its transpose) into dimension `dim`."""
    states = len(matrix)
    shape = tensor.shape
    cube = tensor.reshape(-1, states, int(np.prod(shape[dim + 1 :], dtype=np.int64)))
    m = (matrix.T if transposed else matrix).tolist()
    out = np.empty_like(cube)
    for to in range(states):
        row = out[:, to]
        terms = [(m[to][s], cube[:, s]) for s in range(states) if m[to][s] != 0.0]
        if not terms:
            row[:] = 0.0
            continue
        np.multiply(terms[0][1], terms[0][0], out=row)
        for factor, part in terms[1:]:
            row += factor * part
    return out.reshape(shape)


@dataclass(slots=True)
class Ahead:
    """Backward values of a group of axes: how likely the steps still to come explain what is still open.

    Attributes:
        values: tensor per position in the plan, each scaled to a greatest value of 1.
        dims: the group's open axes at that position, in the order of the tensor's dimensions.
    """

    values: list[Array] = field(repr=False)
    dims: list[tuple[int, ...]] = field(repr=False)


@dataclass(slots=True)
class Swept:
    """What a forward and a backward sweep leave.

    Attributes:
        log_evidence: natural log of the evidence's probability.
        shares: for each variable that touches an axis: posterior of absence, then of each option; else empty.
        ahead: for drawing.
    """

    log_evidence: float
    shares: list[Array]
    ahead: Ahead


class Impossible(ArithmeticError):
    """The evidence has probability zero."""


def sweep(order: Plan, variables: Sequence[Variable], axes: Sequence[Axis]) -> Swept:
    """Run backward, then forward.

    Raises:
        Impossible: the evidence cannot be under this knowledge.
    """
    ahead = look_ahead(order, variables, axes, frozenset(range(len(axes))))
    shares: list[Array] = [np.empty(0)] * len(variables)
    tensor = np.ones(())
    log_evidence = 0.0
    for i, (kind, n) in enumerate(order.steps):
        now = ahead.dims[i]
        if kind == "open":
            tensor = np.multiply.outer(tensor, axes[n].start)
        elif kind == "close":
            tensor = np.tensordot(tensor, axes[n].final, axes=(now.index(n), 0))
        else:
            variable, later = variables[n], ahead.values[i + 1]
            parts = [variable.absent * tensor]
            parts += [o.weight * _moved(tensor, o.moves, now) for o in variable.options]
            share = np.array([float(np.vdot(part, later)) for part in parts])
            if not share.sum() > 0.0:
                raise Impossible
            shares[n] = share / share.sum()
            tensor = sum(parts[1:], parts[0])
        total = float(tensor.sum())
        if not total > 0.0:
            raise Impossible
        log_evidence += float(np.log(total))  # kept near 1, so that long evidence never underflows
        tensor = tensor / total
    return Swept(log_evidence, shares, ahead)


def look_ahead(order: Plan, variables: Sequence[Variable], axes: Sequence[Axis], group: frozenset[int]) -> Ahead:
    """Run backward over the axes of one group; the others are taken as explained."""
    dims: list[tuple[int, ...]] = [()]
    for kind, n in order.steps:
        now = dims[-1]
        if n in group and kind == "open":
            now = (*now, n)
        elif n in group and kind == "close":
            now = tuple(a for a in now if a != n)
        dims.append(now)
    values: list[Array] = [np.ones(())] * len(dims)
    for i in range(len(order.steps) - 1, -1, -1):
        kind, n = order.steps[i]
        tensor = values[i + 1]
        if kind == "cause":
            variable = variables[n]
            out = variable.absent * tensor
            for option in variable.options:
                out = out + option.weight * _moved(tensor, option.moves, dims[i], transposed=True)
            tensor = out
        elif n in group and kind == "open":
            tensor = np.tensordot(tensor, axes[n].start, axes=(len(dims[i + 1]) - 1, 0))
        elif n in group:
            dim = dims[i].index(n)
            shape = [1] * len(dims[i])
            shape[dim] = axes[n].states
            tensor = np.expand_dims(tensor, dim) * axes[n].final.reshape(shape)
        peak = float(tensor.max())
        values[i] = tensor / peak if peak > 0 else tensor
    return Ahead(values, dims)


def _moved(tensor: Array, moves: Mapping[int, Array], dims: tuple[int, ...], transposed: bool = False) -> Array:
    for a, matrix in moves.items():
        if a in dims:
            tensor = _apply(tensor, matrix, dims.index(a), transposed)
    return tensor


def draw(
    order: Plan, variables: Sequence[Variable], axes: Sequence[Axis], groups: Sequence[Ahead], count: int, seed: int
) -> tuple[Ints, Array]:
    """Draw whole sets of causes by forward sampling against backward values.

    With one group of all axes the draws are exact and all weights equal; with several, the product of their backward
    values only guides the drawing (a twisted proposal) and the weights make up for it.

    Returns:
        (count, V): 0 absent, 1 + n for option n; (count,) log weights up to a constant.
    """
    random = np.random.default_rng(seed)
    chosen = np.zeros((count, len(variables)), dtype=np.int64)
    log_weights = np.zeros(count)
    state: dict[int, Ints] = {}

    def later(i: int) -> Array:
        """Product of the groups' backward values at position i, for the states as they are."""
        out = np.ones(count)
        for g in groups:
            out = out * g.values[i][tuple(state[a] for a in g.dims[i])]
        return out

    for i, (kind, n) in enumerate(order.steps):
        if kind == "open":
            mine = next(g for g in groups if n in g.dims[i + 1])
            rest = tuple(state[a] for a in mine.dims[i])
            weights = np.broadcast_to(mine.values[i + 1][rest] * axes[n].start, (count, axes[n].states))
            others = later(i) / mine.values[i][rest] if len(groups) > 1 else np.ones(count)
            state[n] = _pick(weights, random)
            total = weights.sum(axis=1) * others
        elif kind == "close":
            log_weights += np.log(axes[n].final[state.pop(n)]) if len(groups) > 1 else 0.0
            continue
        else:
            chosen[:, n], total = _draw_cause(variables[n], groups, i, state, random, count)
        if len(groups) > 1:
            log_weights += np.log(total) - np.log(later(i + 1))
    return chosen, log_weights


def _draw_cause(
    variable: Variable,
    groups: Sequence[Ahead],
    i: int,
    state: dict[int, Ints],
    random: np.random.Generator,
    count: int,
) -> tuple[Ints, Array]:
    """Draw one cause, move the states, and return the draws and the sum of what was drawn from."""
    columns = [np.full(count, variable.absent)] + [np.full(count, o.weight) for o in variable.options]
    stages: list[list[tuple[int, tuple[int, ...], Array]]] = [[] for _ in variable.options]
    for g in groups:
        tensor, dims = g.values[i + 1], g.dims[i + 1]
        here = tuple(state[a] for a in dims)
        columns[0] = columns[0] * tensor[here]
        for n, option in enumerate(variable.options):
            moved = tensor
            for a, matrix in option.moves.items():
                if a in dims:
                    stages[n].append((a, dims, moved))  # the tensor before this move
                    moved = _apply(moved, matrix, dims.index(a), transposed=True)
            columns[n + 1] = columns[n + 1] * moved[here]
    weights = np.stack(columns, axis=1)
    pick = _pick(weights, random)
    for n, (option, stage) in enumerate(zip(variable.options, stages, strict=True)):
        rows = np.flatnonzero(pick == n + 1)
        if not rows.size:
            continue
        for a, dims, tensor in reversed(stage):  # the last move applied is the first to be drawn
            others = tuple(state[d][rows] for d in dims if d != a)
            values = np.moveaxis(tensor, dims.index(a), -1)[others]
            state[a][rows] = _pick(values * option.moves[a].T[state[a][rows]], random)
    return pick, weights.sum(axis=1)


def _pick(weights: Array, random: np.random.Generator) -> Ints:
    """Draw one column per row in proportion to the weights (N, K)."""
    edges = np.cumsum(weights, axis=1)
    picked: Ints = (random.random(len(edges))[:, None] * edges[:, -1:] >= edges[:, :-1]).sum(axis=1)
    return picked
