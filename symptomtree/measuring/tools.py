"""The tools by name. A family is loaded when one of its tools is first wanted."""

from difflib import get_close_matches
from importlib import import_module

from symptomtree.measuring.tool import Tool

FAMILIES: dict[str, tuple[str, tuple[str, ...]]] = {
    "drivetrain": (
        "Drivetrain",
        ("chain-wear", "chain-life", "chain-length", "hanger", "index", "gear", "chain-line"),
    ),
    "noise": ("Noises", ("noise-rhythm", "squeal-tone", "bearing-rates")),
    "suspension": ("Suspension", ("sag", "air-pressure", "coil-rate", "spring-curve", "travel-use", "bounce")),
    "bracketing": ("Set-up by riding", ("bracketing",)),
    "wheels": (
        "Wheels and tyres",
        (
            "spoke-tension",
            "spoke-length",
            "wheel-true",
            "tyre-pressure",
            "tyre-air",
            "rim-tyre",
            "rim-wear",
            "wheel-size",
        ),
    ),
    "electric": ("Electric drive", ("battery-charge", "battery-sag", "range", "assist-limit", "speed-magnet")),
    "brakes": (
        "Brakes",
        ("lever-travel", "brake-wear", "brake-ratio", "stopping", "rotor-runout", "rotor-heat"),
    ),
    "bearings": ("Bearings", ("bearing", "bearing-feel", "bearing-life")),
    "bolts": ("Bolts", ("torque", "clamp-force")),
}
"""package -> (its title, the names of its tools)"""


class NoSuchTool(Exception):
    """There is no tool of that name; the message says which there are."""


def names() -> list[str]:
    """Return the names of all tools, by family."""
    return [name for _, tools in FAMILIES.values() for name in tools]


def tool_named(name: str) -> Tool:
    """Return a tool.

    Raises:
        NoSuchTool: there is none of that name.
    """
    for module, (_, tools) in FAMILIES.items():
        if name in tools:
            found: Tool = import_module(f"symptomtree.measuring.{module}").TOOLS[name]
            return found
    near = get_close_matches(name, names(), 1)
    hint = f"; did you mean {near[0]}?" if near else "; `symptomtree measure` lists them"
    raise NoSuchTool(f"there is no tool '{name[:40]}'{hint}")
