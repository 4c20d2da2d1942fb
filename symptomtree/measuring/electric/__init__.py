"""The tools of an electric drive, all on the low-voltage side and from outside."""

from symptomtree.measuring.electric.assist import ASSIST_LIMIT, SPEED_MAGNET
from symptomtree.measuring.electric.battery import BATTERY_CHARGE, BATTERY_SAG, RANGE

TOOLS = {tool.name: tool for tool in (BATTERY_CHARGE, BATTERY_SAG, RANGE, ASSIST_LIMIT, SPEED_MAGNET)}
