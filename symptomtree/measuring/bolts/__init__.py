"""The tools of bolts."""

from symptomtree.measuring.bolts.clamp_force import CLAMP_FORCE
from symptomtree.measuring.bolts.tightening import TORQUE

TOOLS = {tool.name: tool for tool in (TORQUE, CLAMP_FORCE)}
