"""The words for frequencies and for how strongly context speaks, and the numbers behind them.

Three published scales meet in one table; no word stands on two of them, so a word means one number everywhere.

- Likelihood words: Office of the Director of National Intelligence, Intelligence Community Directive 203,
  "Analytic Standards" (2015), section D.6.e(2)(a). The number is the middle of the printed band.
- Base-rate words: European Commission, "A guideline on summary of product characteristics" (2009), section 4.8
  (the CIOMS III frequency groups). The number is the geometric middle of the printed band, since the bands are
  decades; "very rare" has no lower end there, so its decade below 1/10 000 is taken.
- Context words: Jaeschke, Guyatt, Sackett, "Users' guides to the medical literature, III.B", JAMA 271 (1994)
  703-707: likelihood ratios of 2-5 (small), 5-10 (moderate) and above 10 (large) and their reciprocals. The number
  is the geometric middle of the band; for "large", whose band is open, 10 to 20 is taken.
"""

from collections.abc import Mapping
from math import sqrt
from types import MappingProxyType

BANDS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "almost-certain": (0.95, 0.99),
        "very-likely": (0.80, 0.95),
        "likely": (0.55, 0.80),
        "roughly-even": (0.45, 0.55),
        "unlikely": (0.20, 0.45),
        "very-unlikely": (0.05, 0.20),
        "almost-no-chance": (0.01, 0.05),
        "very-common": (1e-1, 1.0),
        "common": (1e-2, 1e-1),
        "uncommon": (1e-3, 1e-2),
        "rare": (1e-4, 1e-3),
        "very-rare": (1e-5, 1e-4),
    }
)
"""word: (low, high), as printed in the source of that word."""

BASE_RATE_WORDS = ("very-common", "common", "uncommon", "rare", "very-rare")

PROBABILITY: Mapping[str, float] = MappingProxyType(
    {
        word: round(sqrt(low * high) if word in BASE_RATE_WORDS else (low + high) / 2, 6)
        for word, (low, high) in BANDS.items()
    }
)
"""word: probability, strictly inside (0, 1)."""

CONTEXT_BANDS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"small": (2.0, 5.0), "moderate": (5.0, 10.0), "large": (10.0, 20.0)}
)

ODDS_FACTOR: Mapping[str, float] = MappingProxyType(
    {word: round(sqrt(low * high), 6) for word, (low, high) in CONTEXT_BANDS.items()}
)
"""word: factor on the prior odds of a cause; `lowered-by` divides by it."""


def in_words(probability: float) -> str:
    """Return the likelihood word whose band holds `probability`; plain words beyond the printed ends."""
    if probability >= 0.99:
        return "all but sure"
    if probability < 0.01:
        return "next to none"
    for word, (low, high) in BANDS.items():
        if word not in BASE_RATE_WORDS and low <= probability < high:
            return word.replace("-", " ")
    return "almost certain"
