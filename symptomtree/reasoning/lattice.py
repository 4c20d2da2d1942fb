"""Sums over all sets of causes, exactly and without subtraction, on the lattice of what is already explained.

The joint state of the axes (see `evidence`) is a tensor with one dimension per finding that is *open*: one that some
cause already handled touches and some cause still to come touches too. Causes are eliminated one by one (Zhang and
Poole 1994, "A simple approach to Bayesian network computations"; here with noisy-MAX links kept as products, so no
table over causes is ever built). All terms are positive, so nothing cancels. Cost grows with the product of the states
of the findings open at once, not with their number in all.

A cause that touches one axis only is handled with that axis alone when it opens, as if it were part of the leak. The
tensor is kept flat, and the axes that a cause touches are brought to its front, so that all that a cause does is one
small matrix times a wide one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import log, log2, prod

import numpy as np
from numpy.typing import NDArray

from symptomtree.reasoning.evidence import Array, Axis

Ints = NDArray[np.int64]

BLOCK = 32
"""Greatest number of joint states that one matrix acts on; a cause that touches more has several, each for its own."""


class Impossible(ArithmeticError):
    """The evidence has probability zero."""


@dataclass(slots=True)
class Option:
    """One way a cause can be: present until some fix, or until now.

    Attributes:
        weight: its share of the prior times the likelihood of all findings that need no state, up to a factor.
        moves: axis -> M (K, K), M[to, from]; triangular, never all zero.
        now: whether the cause is still there today; the last option at most.
    """

    weight: float
    moves: dict[int, Array]
    now: bool


@dataclass(slots=True)
class Variable:
    """A cause with its options.

    Attributes:
        absent: weight of not being there at all; it and the options' weights sum to 1.
        axes: those that any of the options touches.
    """

    cause: int
    absent: float
    options: list[Option]
    axes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a plan: ('open', axis), ('cause', index of variable) or ('close', axis).

    An axis opens as the first dimension, and is the first when it closes.

    Attributes:
        own: when an axis opens, the variables that touch no other.
        touched: for a cause, the axes that it touches, in the order in which they come first.
        turn: for a cause, how to reorder the dimensions so that they do; None when nothing is to be done.
        back: undoes it.
        shape: for a cause, of the tensor before that.
    """

    kind: str
    n: int
    own: tuple[int, ...] = ()
    touched: tuple[int, ...] = ()
    turn: tuple[int, ...] | None = None
    back: tuple[int, ...] = ()
    shape: tuple[int, ...] = ()

    def turned(self, tensor: Array) -> Array:
        """Reorder a flat tensor."""
        return tensor if self.turn is None else tensor.reshape(self.shape).transpose(self.turn).reshape(-1)

    def turned_back(self, tensor: Array) -> Array:
        """Undo `turned`."""
        if self.turn is None:
            return tensor
        return tensor.reshape([self.shape[d] for d in self.turn]).transpose(self.back).reshape(-1)


@dataclass(frozen=True, slots=True)
class Plan:
    """The order of work.

    Attributes:
        steps: in order.
        width: greatest product of states open at once.
        idle: the variables that touch no axis.
    """

    steps: list[Step]
    width: int
    idle: list[int]


def plan(variables: Sequence[Variable], axes: Sequence[Axis]) -> Plan:
    """Order the causes so that few findings are open at once (greedy: least new state, then most closing)."""
    bits = [log2(axis.states) for axis in axes]
    own: list[list[int]] = [[] for _ in axes]
    users: list[list[int]] = [[] for _ in axes]
    for v, variable in enumerate(variables):
        for a in variable.axes:
            (own if len(variable.axes) == 1 else users)[a].append(v)
    waiting = [len(u) for u in users]
    steps: list[Step] = []
    for a, count in enumerate(waiting):
        if not count:
            steps += [Step("open", a, tuple(own[a])), Step("close", a)]
    growth = {
        v: sum([bits[a] for a in variable.axes if waiting[a] > 1])
        for v, variable in enumerate(variables)
        if len(variable.axes) > 1
    }
    dims: tuple[int, ...] = ()
    size = widest = 0.0
    while growth:
        v = min(growth, key=growth.__getitem__)  # of equals the first
        del growth[v]
        touched = sorted(variables[v].axes, key=lambda a: (waiting[a] > 1, a))  # those that close come first
        new = [a for a in touched if a not in dims]
        for a in reversed(new):
            steps.append(Step("open", a, tuple(own[a])))
            size += bits[a]
            for u in users[a]:
                if u in growth:
                    growth[u] -= bits[a]
        widest = max(widest, size)
        dims = (*new, *dims)
        order = (*touched, *[a for a in dims if a not in touched])
        turn = None if order == dims else tuple([dims.index(a) for a in order])
        back = tuple([order.index(a) for a in dims])
        steps.append(Step("cause", v, (), tuple(touched), turn, back, tuple([axes[a].states for a in dims])))
        for a in touched:
            waiting[a] -= 1
            if not waiting[a]:
                steps.append(Step("close", a))
                size -= bits[a]
                order = order[1:]
            elif waiting[a] == 1:
                growth[next(u for u in users[a] if u in growth)] -= bits[a]
        dims = order
    return Plan(steps, round(2**widest), [v for v, variable in enumerate(variables) if not variable.axes])


def _blocks(variable: Variable, touched: Sequence[int], axes: Sequence[Axis]) -> list[list[Array]]:
    """Return what each option does to the axes touched, in matrices for the first few of them, for the next few, ...

    The first bears the option's weight.
    """
    groups: list[list[int]] = [[]]
    size = 1
    for a in touched:
        size *= axes[a].states
        if size > BLOCK and groups[-1]:
            groups.append([])
            size = axes[a].states
        groups[-1].append(a)
    out = []
    for o in variable.options:
        blocks = [_joint([_move(o, a, axes) for a in group]) for group in groups]
        out.append([o.weight * blocks[0], *blocks[1:]])
    return out


def _move(option: Option, a: int, axes: Sequence[Axis]) -> Array:
    return option.moves[a] if a in option.moves else np.eye(axes[a].states)


def _joint(matrices: Sequence[Array]) -> Array:
    """Return the Kronecker product."""
    out = matrices[0]
    for m in matrices[1:]:
        out = (out[:, None, :, None] * m[:, None, :]).reshape(len(out) * len(m), -1)
    return out


def _through(tensor: Array, blocks: Sequence[Array], before: int = 1) -> Array:
    """Let blocks act on a flat tensor: the first on the dimensions past the first `before` entries, and so on."""
    for block in blocks:
        tensor = block @ tensor.reshape(before, len(block), -1)
        before *= len(block)
    return tensor.reshape(-1)


@dataclass(frozen=True, slots=True)
class _Alone:
    """An axis with the V variables that touch no other; O is the greatest number of their options, absence included.

    Attributes:
        links: (V, O, K, K) what each option does, weights included.
        before: (V + 1, K) the states before each of them, and after them all.
    """

    links: Array
    before: Array


def _alone(step: Step, variables: Sequence[Variable], axes: Sequence[Axis]) -> _Alone:
    states = axes[step.n].states
    most = 1 + max((len(variables[v].options) for v in step.own), default=0)
    links = np.zeros((len(step.own), most, states, states))
    for i, v in enumerate(step.own):
        links[i, 0].flat[:: states + 1] = variables[v].absent
        for n, o in enumerate(variables[v].options, start=1):
            np.multiply(_move(o, step.n, axes), o.weight, out=links[i, n])
    before = [axes[step.n].start]
    for link in links.sum(axis=1):
        before.append(link @ before[-1])
    return _Alone(links, np.array(before))


@dataclass(frozen=True, slots=True)
class Swept:
    """What a backward and a forward sweep leave.

    Attributes:
        log_evidence: natural log of the evidence's probability.
        shares: for each variable: posterior of absence, then of each option.
        ahead: after each step, how likely the steps still to come explain what is still open, up to a factor.
        blocks: for each variable of a step, what its options do; see `_blocks`.
        alone: for each axis.
    """

    log_evidence: float
    shares: list[Array]
    ahead: list[Array] = field(repr=False)
    blocks: dict[int, list[list[Array]]] = field(repr=False)
    alone: dict[int, _Alone] = field(repr=False)


def sweep(order: Plan, variables: Sequence[Variable], axes: Sequence[Axis]) -> Swept:
    """Run backward, then forward.

    Raises:
        Impossible: the evidence cannot be under this knowledge.
    """
    blocks = {s.n: _blocks(variables[s.n], s.touched, axes) for s in order.steps if s.kind == "cause"}
    alone = {s.n: _alone(s, variables, axes) for s in order.steps if s.kind == "open"}
    ahead = _look_ahead(order, variables, axes, blocks, alone)
    shares: list[Array] = [np.empty(0)] * len(variables)
    log_evidence = 0.0

    def settle(v: int, share: Sequence[float]) -> None:
        whole = sum(share)
        if not whole > 0.0:
            raise Impossible
        shares[v] = np.array(share) / whole

    for v in order.idle:
        settle(v, [variables[v].absent, *(o.weight for o in variables[v].options)])
    tensor = np.ones(1)
    for step, later in zip(order.steps, ahead, strict=True):
        if step.kind == "open":
            mine = alone[step.n]
            onward = [later.reshape(axes[step.n].states, -1) @ tensor]
            for link in mine.links.sum(axis=1)[:0:-1]:
                onward.append(onward[-1] @ link)
            if step.own:
                each = (mine.links @ mine.before[:-1, None, :, None])[..., 0]
                for v, share in zip(
                    step.own, (each @ np.array(onward[::-1])[:, :, None])[..., 0].tolist(), strict=True
                ):
                    settle(v, share[: 1 + len(variables[v].options)])
            tensor = np.multiply.outer(mine.before[-1], tensor).reshape(-1)
        elif step.kind == "close":
            tensor = axes[step.n].final @ tensor.reshape(axes[step.n].states, -1)
            total = float(tensor.sum())
            if not total > 0.0:
                raise Impossible
            log_evidence += log(total)
            tensor = tensor / total  # kept near 1, so that long evidence never underflows
        else:
            variable = variables[step.n]
            tensor = step.turned(tensor)
            parts = [variable.absent * tensor, *[_through(tensor, b) for b in blocks[step.n]]]
            settle(step.n, [float(part @ later) for part in parts])
            tensor = sum(parts[1:], parts[0])
    return Swept(log_evidence, shares, ahead, blocks, alone)


def _look_ahead(
    order: Plan,
    variables: Sequence[Variable],
    axes: Sequence[Axis],
    blocks: Mapping[int, list[list[Array]]],
    alone: Mapping[int, _Alone],
) -> list[Array]:
    """Return `Swept.ahead`."""
    ahead: list[Array] = []
    tensor = np.ones(1)
    for step in reversed(order.steps):
        ahead.append(tensor)
        if step.kind == "open":
            tensor = alone[step.n].before[-1] @ tensor.reshape(axes[step.n].states, -1)
            peak = float(tensor.max())
            if not peak > 0.0:
                raise Impossible
            tensor = tensor / peak
        elif step.kind == "close":
            tensor = np.multiply.outer(axes[step.n].final, tensor).reshape(-1)
        else:
            behind = _behind(variables[step.n], blocks[step.n], tensor)
            tensor = step.turned_back(sum(behind[1:], behind[0]))
    return ahead[::-1]


def _behind(variable: Variable, blocks: Sequence[Sequence[Array]], later: Array) -> list[Array]:
    """Return, for absence and each option, how likely it and the steps after it explain what is open before it."""
    return [variable.absent * later, *[_through(later, [m.T for m in b]) for b in blocks]]


def draw(order: Plan, variables: Sequence[Variable], axes: Sequence[Axis], swept: Swept, count: int, seed: int) -> Ints:
    """Draw whole sets of causes by forward sampling against the backward values: exact, all equally good.

    Returns:
        (count, V): 0 absent, 1 + n for option n.
    """
    random = np.random.default_rng(seed)
    chosen = np.zeros((count, len(variables)), dtype=np.int64)
    at = np.zeros(count, dtype=np.int64)  # where each draw stands in the flat tensor
    if not count:
        return chosen
    for v in order.idle:
        chosen[:, v] = _pick(swept.shares[v][:, None], random, np.zeros(count, dtype=np.int64))
    for step, later in zip(order.steps, swept.ahead, strict=True):
        if step.kind == "open":
            mine = swept.alone[step.n]
            table = later.reshape(axes[step.n].states, -1)
            state = _pick(mine.before[-1][:, None] * table[:, at], random)
            at += state * table.shape[1]
            for v, link, before in zip(step.own[::-1], mine.links[::-1], mine.before[-2::-1], strict=True):
                ways = (link * before).transpose(0, 2, 1).reshape(-1, len(before))  # option and state from, state to
                chosen[:, v], state = np.divmod(_pick(ways, random, state), len(before))
        elif step.kind == "close":
            at %= len(later)
        else:
            at = step.turned_back(np.arange(len(later), dtype=float))[at].astype(np.int64)
            blocks = swept.blocks[step.n]
            pick = _pick(np.array([b[at] for b in _behind(variables[step.n], blocks, later)]), random)
            chosen[:, step.n] = pick
            for n, block in enumerate(blocks, start=1):
                rows = np.flatnonzero(pick == n)
                if rows.size:
                    at[rows] = _moved(at[rows], block, later, random)
    return chosen


def _moved(at: Ints, blocks: Sequence[Array], later: Array, random: np.random.Generator) -> Ints:
    """Draw where the blocks lead from `at`."""
    sizes = [len(block) for block in blocks]
    tables = [later]  # last block's first
    for n in range(len(blocks) - 1, 0, -1):
        tables.append(_through(tables[-1], [blocks[n].T], prod(sizes[:n])))
    for n, (block, table) in enumerate(zip(blocks, reversed(tables), strict=True)):
        cube = table.reshape(prod(sizes[:n]), sizes[n], -1)
        before, here, after = np.unravel_index(at, cube.shape)
        to = _pick(block[:, here] * cube[before, :, after].T, random)
        at = np.ravel_multi_index((before, to, after), cube.shape)
    return at


def _pick(weights: Array, random: np.random.Generator, columns: Ints | None = None) -> Ints:
    """Draw one row per column, or for each of these columns, in proportion to the weights (K, N)."""
    edges = np.cumsum(weights, axis=0)
    if columns is not None:
        edges = edges[:, columns]
    picked: Ints = (random.random(edges.shape[1]) * edges[-1] >= edges[:-1]).sum(axis=0)
    return picked
