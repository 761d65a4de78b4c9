"""A scenario that says only where it differs from another one."""

from __future__ import annotations

from typing import Any

Table = dict[str, Any]


def merged(base: Table, own: Table) -> Table:
    """`base` with what `own` says instead: tables key by key, lists of numbered tables number by number; any other
    value takes the place of that of the base."""
    result = dict(base)
    for key, value in own.items():
        result[key] = _one(base[key], value) if key in base else value
    return result


def _one(base: Any, own: Any) -> Any:
    if isinstance(base, dict) and isinstance(own, dict):
        return merged(base, own)
    if _numbered(base) and _numbered(own):
        return list(merged(_by_number(base), _by_number(own)).values())
    return own


def _numbered(value: Any) -> bool:
    """Whether these are tables with a number each, no two the same."""
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        return False
    numbers = [item.get("number") for item in value]
    return bool(numbers) and all(isinstance(number, int) for number in numbers) and len(set(numbers)) == len(numbers)


def _by_number(tables: list[Table]) -> Table:
    return {table["number"]: table for table in tables}
