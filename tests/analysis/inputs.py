"""Inputs as they are typed, as the plain numbers and words that a formula takes."""

from collections.abc import Sequence
from typing import Any

from analysis.quantity import Quantity
from collector.compute import inputs


def inputs_of(function: str, typed: Sequence[str]) -> dict[str, Any]:
    """Plain inputs by name, in inside units."""
    return {
        name: given.value if isinstance(given, Quantity) else given for name, given in inputs(function, typed).items()
    }
