"""The tools for noises: what they keep time with, their pitch, the rates of damaged bearings."""

from symptomtree.measuring.noise.rhythm import RHYTHM
from symptomtree.measuring.noise.tones import TONES

TOOLS = {tool.name: tool for tool in (*RHYTHM, *TONES)}
