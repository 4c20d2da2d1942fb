"""The tools of the suspension: sag, springs, use of the travel, damping."""

from symptomtree.measuring.suspension.air_spring import AIR_PRESSURE, SPRING_CURVE
from symptomtree.measuring.suspension.bounce import BOUNCE
from symptomtree.measuring.suspension.coil_spring import COIL_RATE
from symptomtree.measuring.suspension.sag import SAG_TOOL
from symptomtree.measuring.suspension.travel_use import TRAVEL_USE

TOOLS = {tool.name: tool for tool in (SAG_TOOL, AIR_PRESSURE, COIL_RATE, SPRING_CURVE, TRAVEL_USE, BOUNCE)}
