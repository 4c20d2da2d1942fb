"""The tools of the drivetrain: chain, hanger, indexing, gears."""

from symptomtree.measuring.drivetrain.chain_length import LENGTH_TOOLS
from symptomtree.measuring.drivetrain.chain_wear import WEAR_TOOLS
from symptomtree.measuring.drivetrain.gears import CHAIN_LINE, GEAR
from symptomtree.measuring.drivetrain.hanger import HANGER
from symptomtree.measuring.drivetrain.indexing import INDEX

TOOLS = {tool.name: tool for tool in (*WEAR_TOOLS, *LENGTH_TOOLS, HANGER, INDEX, GEAR, CHAIN_LINE)}
