"""The number types of the payloads: rounded as they deserve, null for what has no meaning, and a UCUM unit each.

Ref: The Unified Code for Units of Measure (UCUM), case-sensitive codes; RFC 8259 knows no NaN and no Infinity.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

UNIT_KEYWORD = "x-ucum"


def _rounded(decimals: int) -> Callable[[Any], float | None]:
    def tidy(value: Any) -> float | None:
        if value is None or not math.isfinite(value):
            return None
        return round(float(value), decimals)

    return tidy


def _unit(code: str) -> Any:
    return Field(json_schema_extra={UNIT_KEYWORD: code})


Pascal = Annotated[float | None, BeforeValidator(_rounded(1)), _unit("Pa")]
Percent = Annotated[float | None, BeforeValidator(_rounded(4)), _unit("%")]
SquareMillimetre = Annotated[float | None, BeforeValidator(_rounded(6)), _unit("mm2")]
CubicCentimetre = Annotated[float | None, BeforeValidator(_rounded(3)), _unit("cm3")]
Millimetre = Annotated[float | None, BeforeValidator(_rounded(5)), _unit("mm")]
GramPerSecond = Annotated[float | None, BeforeValidator(_rounded(6)), _unit("g/s")]
LitrePerMinute = Annotated[float | None, BeforeValidator(_rounded(4)), _unit("L/min")]
Kelvin = Annotated[float | None, BeforeValidator(_rounded(2)), _unit("K")]
Ratio = Annotated[float | None, BeforeValidator(_rounded(6)), _unit("1")]
Second = Annotated[float | None, BeforeValidator(_rounded(6)), _unit("s")]
Hertz = Annotated[float | None, BeforeValidator(_rounded(3)), _unit("Hz")]
Shown = Annotated[float | None, BeforeValidator(_rounded(3)), Field(description="In the unit named by `shown_unit`")]
Count = Annotated[int, Field(ge=0)]
Bytes = Annotated[int | None, Field(ge=0, json_schema_extra={UNIT_KEYWORD: "By"})]
