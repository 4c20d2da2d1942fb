"""How much longer something lasts that wears in proportion to what it has run, from two readings of its wear."""

from math import hypot, inf, sqrt
from typing import NamedTuple

from symptomtree.measuring.tool import TOO_CLOSE
from symptomtree.measuring.units import Number


class Left(NamedTuple):
    """What is left to run: the likeliest, and bounds that it passes in one case out of twenty each."""

    likeliest: float
    least: float
    most: float


def left(first: Number, second: Number, run: float, limit: float) -> Left:
    """Return how much more can be run until a limit, in the unit of `run`; `inf` where no bound can be told.

    The likeliest is (limit - second) / (second - first) x run. Both differences are uncertain and share a reading, so
    the bounds are those of Fieller's theorem (E. C. Fieller, Some problems in interval estimation, Journal of the Royal
    Statistical Society B 16, 1954) at 90 % between them. Nothing left comes back as 0.

    Args:
        first, second: the wear at two times, rising towards the limit.
        run: what was run between them, above 0.
        limit: the wear at which it is worn out, in the unit of the readings.
    """
    room = Number(limit - second.value, second.error)
    rate = Number((second.value - first.value) / run, hypot(first.error, second.error) / run)
    return used_up(room, rate, -(second.error**2) / run)


def used_up(room: Number, rate: Number, shared: float) -> Left:
    """Return how much more can be run until the room that is left is worn away; bounds as in `left`.

    Args:
        room: what may still be worn.
        rate: what is worn by one of what is run.
        shared: the covariance of the two.
    """
    likeliest = max(0.0, room.value / rate.value) if rate.value > 0 else inf if room.value > 0 else 0.0
    # The ratio r = room / rate is inside when (room - r rate)^2 <= z^2 var(room - r rate): a quadratic in r.
    z2 = TOO_CLOSE**2
    a = rate.value**2 - z2 * rate.error**2
    b = room.value * rate.value - z2 * shared
    c = room.value**2 - z2 * room.error**2
    root = sqrt(max(0.0, b**2 - a * c))
    least = c / (b + root) if room.value > 0 and c > 0 and b + root > 0 else min(likeliest, inf if c > 0 else 0.0)
    # Where the readings hardly differ (a <= 0), the wear may as well stand still.
    most = max(0.0, (b + root) / a) if a > 0 and rate.value > 0 else inf
    return Left(likeliest, least, most)
