"""The tools of wheels and tyres."""

from symptomtree.measuring.wheels.rim_and_size import RIM_WEAR, WHEEL_SIZE
from symptomtree.measuring.wheels.rim_true import WHEEL_TRUE
from symptomtree.measuring.wheels.rim_tyre import RIM_TYRE
from symptomtree.measuring.wheels.spoke_length import SPOKE_LENGTH
from symptomtree.measuring.wheels.spokes import SPOKE_TENSION
from symptomtree.measuring.wheels.tyre_air import TYRE_AIR
from symptomtree.measuring.wheels.tyres import TYRE_PRESSURE

TOOLS = {
    tool.name: tool
    for tool in (
        SPOKE_TENSION,
        SPOKE_LENGTH,
        WHEEL_TRUE,
        TYRE_PRESSURE,
        TYRE_AIR,
        RIM_TYRE,
        RIM_WEAR,
        WHEEL_SIZE,
    )
}
