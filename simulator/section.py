"""The tables of a scenario file: every key is known, every value has its type, and an error says what is allowed."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

NonNegative = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]


class Section(BaseModel):
    """One table: frozen, strict (no text where a number belongs), no unknown keys."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid")

    @model_validator(mode="before")
    @classmethod
    def _only_known_keys(cls, data: Any) -> Any:
        unknown = [key for key in data if key not in cls.model_fields] if isinstance(data, dict) else []
        if unknown:
            allowed = list(cls.model_fields)
            meant = get_close_matches(unknown[0], allowed, 1)
            hint = f" (did you mean {meant[0]!r}?)" if meant else ""
            raise PydanticCustomError(
                "unknown_key",
                "unknown key '{key}'{hint}; allowed here: {allowed}",
                {"key": unknown[0], "hint": hint, "allowed": ", ".join(allowed)},
            )
        return data
