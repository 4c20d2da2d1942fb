"""The tools of bearings."""

from symptomtree.measuring.bearings.feel import BEARING_FEEL
from symptomtree.measuring.bearings.life import BEARING_LIFE
from symptomtree.measuring.bearings.which import BEARING

TOOLS = {tool.name: tool for tool in (BEARING, BEARING_FEEL, BEARING_LIFE)}
