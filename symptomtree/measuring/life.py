"""How much longer something lasts that wears in proportion to what it has run, from two readings of its wear."""

from math import inf, sqrt
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
    room, worn = limit - second.value, second.value - first.value
    likeliest = max(0.0, room / worn * run) if worn > 0 else inf if room > 0 else 0.0
    # The ratio r = room / worn is inside when (room - r worn)^2 <= z^2 var(room - r worn): a quadratic in r.
    z2 = TOO_CLOSE**2
    two, one = second.error**2, first.error**2
    a = worn**2 - z2 * (one + two)
    b = room * worn + z2 * two  # covariance of room and worn is -two
    c = room**2 - z2 * two
    root = sqrt(max(0.0, b**2 - a * c))
    least = c / (b + root) * run if room > 0 and c > 0 and b + root > 0 else min(likeliest, inf if c > 0 else 0.0)
    # Where the two readings hardly differ (a <= 0), the wear may as well stand still.
    most = max(0.0, (b + root) / a * run) if a > 0 and worn > 0 else inf
    return Left(likeliest, least, most)
