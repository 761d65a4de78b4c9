"""Commands that are wrong, each with the number that it has to be refused with."""

from __future__ import annotations

WRONG_COMMANDS = {
    "FOO": -113,
    "CONF:RATE": -109,
    "*IDN? 1": -108,
    "CONF:RATE FAST": -104,
    "CONF:RATE 0": -222,
    "CAL:DATA? TANK": -224,
    "INIT?": -113,
    "*CLS?": -113,
    "CONF:RATE 200,100": -108,
}
"""One more than the error queue holds; every number that a command alone can provoke."""
WRONG_CALIBRATIONS = {
    "CAL:DATA SUPP": -109,
    "CAL:DATA SUPP,500000,,20250110": -109,
    "CAL:DATA SUPP,500000,258553,20250110,1": -108,
    "CAL:DATA TANK,500000,258553,20250110": -224,
    "CAL:DATA SUPP,0.5,258553,20250110": -104,
    "CAL:DATA SUPP,500000,0,20250110": -222,
    "CAL:DATA SUPP,500000,258553,20250": -222,
}
NO_STORE = -221
"""What a board without a store says to each of the latter."""
