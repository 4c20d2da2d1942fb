"""The tool for a set-up by riding."""

from symptomtree.measuring.bracketing.bracketing import BRACKETING

TOOLS = {tool.name: tool for tool in BRACKETING}
