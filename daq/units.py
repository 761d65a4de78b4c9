"""Unit conversions at the edges. Inside the project everything is SI.

Ref: NIST SP 811 appendix B; the pound-force per square inch is exact by definition of the pound, the inch
and standard gravity.
"""

from __future__ import annotations

from enum import StrEnum

PA_PER_PSI = 0.45359237 * 9.80665 / 0.0254**2
PA_PER_KPA = 1000.0
PA_PER_BAR = 100_000.0
PA_PER_ATM = 101_325.0
M_PER_INCH = 0.0254
MM2_PER_M2 = 1e6
G_PER_KG = 1e3
ZERO_CELSIUS_K = 273.15


class PressureUnit(StrEnum):
    """The unit a person reads pressures in; the value is also what is printed."""

    PSI = "psi"
    KPA = "kPa"
    BAR = "bar"

    @property
    def pa(self) -> float:
        """Pascals in one of this unit."""
        return {PressureUnit.PSI: PA_PER_PSI, PressureUnit.KPA: PA_PER_KPA, PressureUnit.BAR: PA_PER_BAR}[self]

    @property
    def ucum(self) -> str:
        """Ref: UCUM, case-sensitive code of the unit (gauge or absolute is said by the name of the field)."""
        return {PressureUnit.PSI: "[psi]", PressureUnit.KPA: "kPa", PressureUnit.BAR: "bar"}[self]

    @property
    def decimals(self) -> int:
        """Digits after the point that a reading on a garage gauge deserves."""
        return {PressureUnit.PSI: 1, PressureUnit.KPA: 0, PressureUnit.BAR: 2}[self]

    def show(self, pressure_pa: float) -> str:
        """The pressure as text with its unit, e.g. `100.0 psi`."""
        return f"{pressure_pa / self.pa:.{self.decimals}f} {self.value}"


def both(pressure_pa: float) -> str:
    """For texts that are stored as they are, whoever reads them later: `100.0 psi (689 kPa)`."""
    return f"{PressureUnit.PSI.show(pressure_pa)} ({PressureUnit.KPA.show(pressure_pa)})"
