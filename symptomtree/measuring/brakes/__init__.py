"""The tools of the brakes: lever, ratio, wear, stopping, and the disc."""

from symptomtree.measuring.brakes.disc import ROTOR_RUNOUT
from symptomtree.measuring.brakes.heat import ROTOR_HEAT
from symptomtree.measuring.brakes.lever import LEVER_TRAVEL
from symptomtree.measuring.brakes.ratio import BRAKE_RATIO
from symptomtree.measuring.brakes.stopping import STOPPING
from symptomtree.measuring.brakes.wear import BRAKE_WEAR

TOOLS = {t.name: t for t in (LEVER_TRAVEL, BRAKE_WEAR, BRAKE_RATIO, STOPPING, ROTOR_RUNOUT, ROTOR_HEAT)}
