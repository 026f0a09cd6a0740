"""Cautions that travel with every result of the room."""

TEMPERATURE_CAUTION = (
    "Temperatures are desk estimates. Verify them by measurement (sensors, paint) before anyone "
    "relies on them; check idle, traffic behind another car and the hottest day."
)
BRAKE_CAUTION = (
    "Disc, pad and fluid temperatures are desk estimates. More grip raises braking power: recheck "
    "by paint or sensors, in small speed steps on a closed course; ducts must not rub hoses or "
    "tyres at full lock and droop, and a blocked duct can boil the fluid."
)
VENT_CAUTION = (
    "Vents that lower drag may raise temperatures under the bonnet near fuel or wiring. "
    "Legality is decided by the current rule text and the scrutineers."
)
