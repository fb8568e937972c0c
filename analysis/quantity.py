"""A number that says how sure it is and how it was obtained."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum


class Quality(IntEnum):
    """How far a reading or a result can be trusted; ordered, so that `max` combines two of them."""

    GOOD = 0
    SUSPECT = 1
    BAD = 2


@dataclass(frozen=True, slots=True)
class Error:
    """One independent source of error, e.g. the offset of one meter; the same source in two numbers correlates them."""

    name: str
    """Identity, and the words for people: `thermometer: offset`."""
    shape: str = "normal"
    """Distribution that it is drawn from: `normal` or `rectangular`."""
    freedom: float = math.inf
    """Degrees of freedom of its standard deviation. [1]"""
    statistical: bool = False
    """Whether a longer reading makes it smaller (scatter), or only a better meter does."""


@dataclass(frozen=True, slots=True)
class Derivation:
    """How a number was obtained."""

    formula: str
    """Name of the function."""
    text: str
    """What it gives, in a few words."""
    inputs: "tuple[tuple[str, Quantity | str], ...]"
    """Name and value of each input; a quantity that was computed itself carries its own derivation."""
    valid: str
    """Where the formula holds."""
    method: str
    source: str
    conditions: tuple[str, ...] = ()
    """What else it rests on: `temp_return and temp_supply read with one meter`."""
    propagation: str = ""
    """How the uncertainty was carried through, and why so where it is not the usual way."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit and standard uncertainty; prints as a technician reads it and can explain itself."""

    value: float
    unit: str
    u: float = math.nan
    """Standard uncertainty, NaN where unknown. [unit]"""
    freedom: float = math.inf
    """Degrees of freedom of `u`. [1]"""
    budget: tuple[tuple[Error, float], ...] = ()
    """What `u` is made of: each source of error, signed; `u` is the root of the sum of squares. [unit]"""
    interval: tuple[float, float] | None = None
    """95 % coverage interval where it is not the value plus and minus a multiple of `u`. [unit]"""
    quality: Quality = Quality.GOOD
    reason: str = ""
    """Why there is no value, or why it is doubtful: one sentence."""
    how: Derivation | None = None
    """How it was obtained; None for a number that was read or typed in."""

    def __str__(self) -> str:
        """Value with twice its standard uncertainty, both to that uncertainty's second digit; or with its interval."""
        if math.isnan(self.value):
            return "no value"
        unit = "" if self.unit in ("1", "") else f" {self.unit}"
        if self.interval is not None:
            low, high = map(plain, self.interval)
            return f"{plain(self.value)}{unit} (95 %: {low} to {high})"
        if not math.isfinite(self.u) or self.u <= 0:
            return f"{plain(self.value)}{unit}"
        expanded = 2 * self.u
        digits = 1 - math.floor(math.log10(expanded))
        shown = max(0, digits)
        return f"{round(self.value, digits):.{shown}f} ± {round(expanded, digits):.{shown}f}{unit}"

    def explain(self, show: "Callable[[str, Quantity], str] | None" = None) -> str:
        """How the number was obtained, as one short paragraph in which each step can be challenged.

        show : writes the quantity of a name; by default in its own unit. [-]
        returns : what it is, from which inputs, where it holds, method, source, what its uncertainty is made of. [-]
        """
        return " ".join(f"{label}: {text}" if label else text for label, text in self.steps(show))

    def steps(self, show: "Callable[[str, Quantity], str] | None" = None) -> list[tuple[str, str]]:
        """The parts of the explanation as label and text; the first has no label."""
        show = show or _as_it_is
        how = self.how
        if how is None:
            return [("", f"{show('', self)}, as read or typed in."), *self._doubt()]
        found = [("", f"{how.text.rstrip('.')}: {show(how.formula, self)}."), *self._doubt()]
        found.append(("From", f"{_listed(how.inputs, show)}."))
        found += [("Rests on", f"{'; '.join(how.conditions)}.")] if how.conditions else []
        found += [("Holds", how.valid), ("Method", how.method), ("Source", how.source)]
        if how.propagation:
            largest = f"; most of it comes from {self.dominant.name}" if self.dominant else ""
            found.append(
                (
                    "Uncertainty",
                    f"{how.propagation}{largest}; ± is twice the standard uncertainty, for a limit a 1.15 a.",
                )
            )
        return found

    def _doubt(self) -> list[tuple[str, str]]:
        label = "No value" if math.isnan(self.value) else "Doubtful"
        return [(label, f"{self.reason.removeprefix('no value: ').rstrip('.')}.")] if self.reason else []

    @property
    def dominant(self) -> Error | None:
        """The source of error that contributes most, or None where none is known."""
        return max(self.budget, key=lambda part: abs(part[1]))[0] if self.budget else None


def plain(value: float) -> str:
    """Four significant digits, and all digits before the point; powers of ten only far from one."""
    if value == 0 or 1e-4 <= abs(value) < 1e9:
        whole = max(4, math.floor(math.log10(abs(value))) + 1) if value else 1
        return f"{value:.{whole}g}" if abs(value) < 1e4 else f"{value:.0f}"
    return f"{value:.4g}"


def _as_it_is(_: str, quantity: Quantity) -> str:
    return str(quantity)


def _listed(inputs: "tuple[tuple[str, Quantity | str], ...]", show: "Callable[[str, Quantity], str]") -> str:
    parts = []
    for name, value in inputs:
        if isinstance(value, str):
            parts.append(f"{name} {value}")
        elif value.how is None:
            parts.append(f"{name} {show(name, value)}")
        else:
            parts.append(f"{name} {show(name, value)} ({value.how.formula} of {_listed(value.how.inputs, show)})")
    return ", ".join(parts) or "nothing"
