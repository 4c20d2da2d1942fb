"""Chain, gears and shifting in numbers."""

from symptomtree.measuring.tool import Field, Gives, Outcome, Tool

PITCH = 12.7
"""Millimetres from pin to pin of a bicycle chain: half an inch (ISO 9633:2001; ANSI/ASME B29.1)."""


def elongation(length: float, links: float) -> float:
    """Return how much longer a chain is than new, in percent.

    Args:
        length: from pin to pin over `links` links, in mm.
        links: half links, that is pitches of 12.7 mm.
    """
    return (length / (links * PITCH) - 1) * 100


def _chain_wear(length: float, links: float, speeds: float | None) -> Outcome:
    worn = elongation(length, links)
    limit = 0.5 if speeds and speeds >= 11 else 0.75
    if worn < limit:
        says = f"Below {limit:g} %: the chain stays."
    else:
        says = f"At or over {limit:g} %: fit a new chain, and try it on the sprockets before the ride."
    return Outcome(values={"elongation": worn}, says=(says,))


_ALL = (
    Tool(
        name="chain-wear",
        title="Chain wear from a rule",
        about="Pull the chain taut on the bike. Lay the rule's zero on the middle of a pin, and read at the middle of "
        "the pin 24 links on. Temperature does not matter; slack does.",
        fields=(
            Field(name="length", ask="How far is it from pin to pin?", unit="mm", least=50, most=1600, error=0.3),
            Field(name="links", ask="Over how many half links (24 to the foot)?", least=4, most=120, usual="24"),
            Field(name="speeds", ask="How many sprockets has the cassette?", least=1, most=14, needed=False),
        ),
        run=_chain_wear,
        gives=(Gives(name="elongation", words="longer than new by", unit="%"),),
        sources=("ISO 9633:2001 (pitch 12.7 mm)", "common practice (limits 0.5 % from 11 sprockets on, else 0.75 %)"),
        example={"length": "306.5 mm", "links": "24", "speeds": "11"},
    ),
)
TOOLS = {tool.name: tool for tool in _ALL}
