"""The tools of the brakes: lever, ratio, wear, stopping, and the disc."""

from symptomtree.measuring.brake_disc import ROTOR_RUNOUT
from symptomtree.measuring.brake_heat import ROTOR_HEAT
from symptomtree.measuring.brake_lever import LEVER_TRAVEL
from symptomtree.measuring.brake_ratio import BRAKE_RATIO
from symptomtree.measuring.brake_wear import BRAKE_WEAR
from symptomtree.measuring.stopping import STOPPING

TOOLS = {t.name: t for t in (LEVER_TRAVEL, BRAKE_WEAR, BRAKE_RATIO, STOPPING, ROTOR_RUNOUT, ROTOR_HEAT)}
