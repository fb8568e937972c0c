"""Uncertainty carried through a function: along straight lines where that holds, by random draws where it does not."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from uncertainties import ufloat, wrap

from analysis.quantity import Error, Quality, Quantity

DRAWS = 200_000
"""Draws of a Monte Carlo run: `u` is reproduced to about 0.2 %, the ends of the interval to about 0.5 % of `u`."""
SEED = 101
FEWEST, MOST = 1_000, 2_000_000
"""Draws that a run takes: fewer say nothing about an interval, more fill the memory."""

DOUBTFUL = 0.05
"""Share of draws without a result above which the result is SUSPECT; our choice."""
REFUSED = 2 / 3
"""Share of draws without a result above which there is none: more than at the very end of one input's range (1/2)."""
UNSETTLED = 0.02
"""Relative standard error of `u` over the blocks of a run above which it is not given: the tails are too long."""

_ORIGIN = 2.0**20
"""The library steps by 2**-26 of an argument, however uncertain it is; near 0 degC that drowns in rounding. Arguments
that count from here in units of their own standard uncertainty make the step 1/64 of that uncertainty."""
_EDGE = math.sqrt(3)
"""Limit of a rectangular distribution, in its standard uncertainties."""
_TAIL = 3.0
"""How far a normal distribution is tried, in its standard uncertainties."""
_PAIRS = 500
_BENT = 0.05
"""Allowed deviation from the straight line at one standard uncertainty, growing with the square of the distance."""
_SCATTERED = 0.1
"""Allowed root mean square deviation from the straight line: it adds 0.5 % to `u`."""
_TILTED = 0.01
"""Allowed deviation in step with the straight line: it adds its own size to `u`."""
_BLOCKS = 8


@dataclass(frozen=True, slots=True)
class Propagated:
    """A result with its uncertainty, and how that was found."""

    quantity: Quantity
    way: str
    """How the uncertainty was carried through, and why so where it is not along straight lines: one sentence."""
    linear: bool
    """Whether it was carried along straight lines."""
    missing: float = 0.0
    """Share of the draws that gave no result. [1]"""


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a Monte Carlo run found; NaN where fewer than a tenth of the draws gave a result."""

    mean: float
    """Mean of the draws. [unit of the function]"""
    u: float
    """Standard deviation of the draws, each error with its standard uncertainty as given. [unit of the function]"""
    interval: tuple[float, float]
    """2.5 % and 97.5 % quantile, with the longer tails of errors of few degrees of freedom. [unit of the function]"""
    missing: float
    """Share of the draws without a result. [1]"""
    settled: bool
    """Whether `u` is the same over the whole run to 2 %."""
    budget: tuple[tuple[Error, float], ...]
    """The straight part of each error, signed. [unit of the function]"""
    remainder: float
    """What no straight line in the errors explains; with the budget it makes up `u`. [unit of the function]"""


@dataclass(frozen=True, slots=True)
class _Model:
    """A function of independent errors, each counted in its own standard uncertainties."""

    function: Callable[..., ArrayLike]
    exact: Mapping[str, object]
    best: Mapping[str, float]
    shares: Mapping[str, NDArray[np.float64]]
    """For each uncertain input (errors,): its contributions from all errors of the model. [unit of the input]"""
    errors: tuple[Error, ...]

    def at(self, errors: NDArray[np.float64]) -> NDArray[np.float64]:
        """Result for (errors, ...) deviations, NaN where there is none."""
        moved = {name: value + np.tensordot(self.shares[name], errors, 1) for name, value in self.best.items()}
        return np.broadcast_to(self.of(moved), errors.shape[1:])

    def of(self, inputs: Mapping[str, ArrayLike]) -> NDArray[np.float64]:
        with np.errstate(all="ignore"):
            result = np.asarray(self.function(**self.exact, **inputs), np.float64)
        return np.where(np.isfinite(result), result, np.nan)


def propagate(
    function: Callable[..., ArrayLike],
    inputs: Mapping[str, object],
    *,
    unit: str,
    name: str = "",
    draws: int = DRAWS,
    seed: int = SEED,
) -> Propagated:
    """A function's result with the uncertainty that its inputs give it.

    function : plain function of named inputs, scalars or arrays that broadcast, NaN where it has no result. [-]
    inputs : by name; a `Quantity`, in the unit that the function takes, is uncertain, anything else (number, word) is
        exact. One with `u` and no budget counts as one normal error with the input's name. [-]
    unit : unit of the result. [-]
    name : what to call the function in sentences; its own name by default. [-]
    draws : (...) number of draws where Monte Carlo is needed, 1000 <= value <= 2000000. [1]
    seed : (...) seed of the draws; the same seed gives the same result. [1]
    returns : Propagated; `u` is NaN where that of an input is not known. [-]

    Valid: errors with the same identity in several inputs are the same error and correlate these inputs; different ones
        are independent. The straight line is tried at the edges of every error, along their joint direction and at 1000
        joint points; it holds where it is off by less than 5 % of `u` at one standard uncertainty and `u` by about 1 %.
        A draw outside what the function takes is left out and counted: above 5 % of them the result is SUSPECT, above
        two thirds there is none.
    Method: value at the best estimates; first-order propagation over the independent errors, effective degrees of
        freedom after Welch and Satterthwaite; where the straight line does not hold, Monte Carlo, whose budget is the
        best straight fit to the draws and one entry for what is left.
    Source: JCGM 100:2008, 5.1.2, 5.2.2 and G.4.1; JCGM 101:2008, clauses 5 to 7. The limits are our choice.
    """
    name = name or getattr(function, "__name__", "").replace("<lambda>", "") or "the formula"
    quantities = {key: given for key, given in inputs.items() if isinstance(given, Quantity)}
    model = _model(function, inputs)
    plain = _inherited(Quantity(float(model.of(model.best)), unit), quantities)
    if math.isnan(plain.value):
        none = Quantity(math.nan, unit, quality=Quality.BAD, reason=_no_result(name, inputs))
        return Propagated(none, "there is no result", linear=True)
    unknown = [key for key, given in quantities.items() if not math.isfinite(_u(given))]
    if unknown:
        way = f"the uncertainty is not known: no accuracy is known for {_list(unknown)}"
        return Propagated(plain, way, linear=True)
    straight = _straight(model)
    doubt = _doubt(model, plain.value, straight)
    if not doubt:
        quantity = _with_budget(plain, _entries(model.errors, straight))
        return Propagated(quantity, "along straight lines from the best estimates (JCGM 100)", linear=True)
    drawn = _draw(model, draws, seed)
    way = f"by {draws:,} random draws (JCGM 101), because {name} {doubt}"
    if drawn.missing:
        way += f"; {drawn.missing:.2%} of the draws gave no result"
    return Propagated(_from_draws(drawn, plain, name), way, linear=False, missing=drawn.missing)


def monte_carlo(
    function: Callable[..., ArrayLike], inputs: Mapping[str, object], draws: int = DRAWS, seed: int = SEED
) -> Drawn:
    """Distribution of a function's result by random draws of the errors of its inputs.

    function : as in `propagate`. [-]
    inputs : as in `propagate`; a quantity without a known uncertainty counts as exact. [-]
    draws : (...) number of draws, 1000 <= value <= 2000000. [1]
    seed : (...) seed of the draws. [1]
    returns : Drawn. [-]

    Valid: rectangular and normal errors; a normal error with few degrees of freedom is drawn normal for `u`, which is
        the standard uncertainty of JCGM 100, and from the scaled and shifted t-distribution for the interval.
    Method: every error drawn once for all inputs that contain it, the function evaluated for all draws at once; the
        interval is probabilistically symmetric.
    Source: JCGM 101:2008, 6.4.2, 6.4.7, 6.4.9 and 7.
    """
    return _draw(_model(function, inputs), draws, seed)


def effective_freedom(contributions: ArrayLike, freedoms: ArrayLike) -> NDArray[np.float64]:
    """Effective degrees of freedom of a standard uncertainty made up of independent contributions.

    contributions : (..., n) standard uncertainties in the unit of the result; the sign does not matter. [1]
    freedoms : (..., n) degrees of freedom of each, value > 0; infinite for a limit that is taken as certain. [1]
    returns : (...) infinite where no contribution with few degrees of freedom counts; NaN where an input is NaN or out
        of range. [1]

    Valid: independent contributions; correlated inputs are split into their independent errors before.
    Method: Welch and Satterthwaite, not rounded down to a whole number.
    Source: JCGM 100:2008, equation G.2b.
    """
    sizes, freedom = np.broadcast_arrays(np.asarray(contributions, np.float64), np.asarray(freedoms, np.float64))
    bad = np.any(~np.isfinite(sizes) | ~(freedom > 0), axis=-1)
    largest = np.max(np.abs(np.where(np.isfinite(sizes), sizes, 0.0)), axis=-1, keepdims=True, initial=0.0)
    relative = np.where(np.isfinite(sizes), sizes, 0.0) / np.where(largest > 0, largest, 1.0)
    uncertain = np.sum(relative**4 / np.where(freedom > 0, freedom, 1.0), axis=-1)
    total = np.sum(relative**2, axis=-1) ** 2
    result = np.where(uncertain > 0, total / np.where(uncertain > 0, uncertain, 1.0), np.inf)
    return np.where(bad, np.nan, result)[()]


def correlation(first: Quantity, second: Quantity) -> float:
    """Correlation coefficient of two quantities through the errors that they share.

    first : Quantity with a budget. [-]
    second : Quantity with a budget. [-]
    returns : (...) between -1 and 1; NaN where one of them has no known uncertainty or none at all. [1]

    Valid: budgets whose errors are independent.
    Method: sum of the products of shared contributions over the product of the standard uncertainties.
    Source: JCGM 100:2008, 5.2.2 and equation 14, with F.1.2.3 for common sources.
    """
    ours, theirs = dict(first.budget), dict(second.budget)
    sizes = math.hypot(*ours.values()) * math.hypot(*theirs.values())
    if not (math.isfinite(first.u) and math.isfinite(second.u) and sizes > 0):
        return math.nan
    return sum(share * theirs.get(error, 0.0) for error, share in ours.items()) / sizes


def _u(quantity: Quantity) -> float:
    return math.hypot(*(share for _, share in quantity.budget)) if quantity.budget else quantity.u


def _model(function: Callable[..., ArrayLike], inputs: Mapping[str, object]) -> _Model:
    exact: dict[str, object] = {}
    budgets: dict[str, dict[Error, float]] = {}
    best: dict[str, float] = {}
    for name, given in inputs.items():
        if not isinstance(given, Quantity) or not (math.isfinite(_u(given)) and _u(given) > 0):
            exact[name] = given.value if isinstance(given, Quantity) else given
            continue
        best[name], budgets[name] = given.value, {}
        for error, share in given.budget or ((Error(name, freedom=given.freedom), given.u),):
            budgets[name][error] = budgets[name].get(error, 0.0) + share
    errors = tuple(dict.fromkeys(error for budget in budgets.values() for error in budget))
    for error in errors:
        if error.shape not in ("normal", "rectangular"):
            raise ValueError(f"unknown shape '{error.shape}' of the error '{error.name}'; known: normal, rectangular")
    shares = {name: np.array([budget.get(error, 0.0) for error in errors]) for name, budget in budgets.items()}
    return _Model(function, exact, best, shares, errors)


def _straight(model: _Model) -> NDArray[np.float64]:
    """First-order contribution of each error, signed; NaN where the function has no slope."""
    variables = [ufloat(0.0, 1.0) for _ in model.errors]
    spread = {name: float(np.linalg.norm(shares)) for name, shares in model.shares.items()}

    def counted(*steps: float) -> float:
        moved = {key: model.best[key] + spread[key] * (step - _ORIGIN) for key, step in zip(spread, steps, strict=True)}
        return float(model.of(moved))

    arguments = []
    for name, shares in model.shares.items():
        parts = (float(share / spread[name]) * variable for share, variable in zip(shares, variables, strict=True))
        arguments.append(sum(parts, _ORIGIN))
    slopes = wrap(counted)(*arguments).derivatives if arguments else {}
    return np.array([slopes.get(variable, 0.0) for variable in variables], np.float64)


def _doubt(model: _Model, value: float, straight: NDArray[np.float64]) -> str:
    """Why the straight line does not hold, as the end of a sentence that begins with the function; empty if it does."""
    if not model.errors:
        return ""
    axes, owners = _axes(model.errors)
    joint = _deviations(model.errors, _PAIRS, np.random.default_rng(SEED))
    joint = np.concatenate([joint, -joint], axis=1)
    u = float(np.linalg.norm(np.nan_to_num(straight)))
    along = np.outer(np.nan_to_num(straight) / (u or 1.0), [-_TAIL, -_EDGE, -1.0, 1.0, _EDGE, _TAIL])
    rectangular = np.array([[error.shape == "rectangular"] for error in model.errors])
    along = np.where(rectangular, np.clip(along, -_EDGE, _EDGE), along)
    places = np.concatenate([axes, along, joint], axis=1)
    results = model.at(places)
    rounding = 1e-10 * max(abs(value), float(np.max(np.abs(np.nan_to_num(results)))))
    residual = results - value - np.nan_to_num(straight) @ places
    allowed = _BENT * np.maximum(np.sum(places**2, axis=0), 1.0) * u + rounding
    allowed[axes.shape[1] + along.shape[1] :] = np.inf
    missing, bent = np.isnan(results), np.abs(residual) > allowed
    for found, words in ((missing, "has no result for part of"), (bent, "does not run straight across")):
        guilty = {model.errors[owner].name: None for owner, hit in zip(owners, found, strict=False) if hit}
        if guilty:
            return f"{words} the uncertainty of {_list(list(guilty))}"
        if np.any(found):
            return f"{words} what several uncertainties reach together"
    if not np.all(np.isfinite(straight)):
        return "has no slope at the best estimates"
    deviation, line = residual[-joint.shape[1] :], straight @ joint
    scattered = math.sqrt(float(np.mean(deviation**2))) > _SCATTERED * u + rounding
    tilted = abs(float(np.mean(deviation * line))) > _TILTED * u**2 + rounding * u
    together = (
        "what several uncertainties reach together"
        if model.errors[1:]
        else "the uncertainty of " + model.errors[0].name
    )
    return f"does not run straight across {together}" if scattered or tilted else ""


def _axes(errors: Sequence[Error]) -> tuple[NDArray[np.float64], list[int]]:
    """Points (errors, n) with one error at a time at its edges, and whose error each point is."""
    places, owners = [], []
    for index, error in enumerate(errors):
        reach = (_EDGE / 2, _EDGE) if error.shape == "rectangular" else (1.0, _EDGE, _TAIL)
        for distance in (*reach, *(-one for one in reach)):
            place = np.zeros(len(errors))
            place[index] = distance
            places.append(place)
            owners.append(index)
    return np.array(places).T, owners


def _deviations(errors: Sequence[Error], draws: int, generator: np.random.Generator) -> NDArray[np.float64]:
    rows = [
        generator.uniform(-_EDGE, _EDGE, draws) if error.shape == "rectangular" else generator.standard_normal(draws)
        for error in errors
    ]
    return np.array(rows).reshape(len(errors), draws)


def _draw(model: _Model, draws: int, seed: int) -> Drawn:
    if not FEWEST <= draws <= MOST:
        raise ValueError(f"{draws} draws are not possible; ask for {FEWEST} to {MOST}")
    generator = np.random.default_rng(seed)
    places = _deviations(model.errors, draws, generator)
    results = model.at(places)
    kept = np.isfinite(results)
    missing = 1 - float(np.mean(kept))
    if np.sum(kept) < draws / 10:
        return Drawn(math.nan, math.nan, (math.nan, math.nan), missing, settled=False, budget=(), remainder=math.nan)
    good = results[kept]
    mean, u = float(np.mean(good)), float(np.std(good, ddof=1))
    blocks = np.array([np.std(block, ddof=1) for block in np.array_split(good, _BLOCKS)])
    settled = float(np.std(blocks, ddof=1)) / math.sqrt(_BLOCKS) <= UNSETTLED * u
    fit = np.linalg.lstsq(places[:, kept].T - np.mean(places[:, kept], axis=1), good - mean)[0]
    explained = min(float(np.std(places[:, kept].T @ fit, ddof=1)), u)
    size = float(np.linalg.norm(fit))
    budget = _entries(model.errors, fit * (explained / size if size else 0.0))
    low, high = np.quantile(_with_long_tails(model, places, results, generator), [0.025, 0.975])
    remainder = math.sqrt(max(0.0, u**2 - explained**2))
    return Drawn(mean, u, (float(low), float(high)), missing, settled, budget, remainder)


def _with_long_tails(
    model: _Model, places: NDArray[np.float64], results: NDArray[np.float64], generator: np.random.Generator
) -> NDArray[np.float64]:
    """Results, those there are, with normal errors of few degrees of freedom drawn from their t-distribution."""
    few = [n for n, error in enumerate(model.errors) if error.shape == "normal" and math.isfinite(error.freedom)]
    if few:
        places = places.copy()
        for index in few:
            freedom = model.errors[index].freedom
            places[index] /= np.sqrt(generator.chisquare(freedom, places.shape[1]) / freedom)
        results = model.at(places)
    return results[np.isfinite(results)]


def _from_draws(drawn: Drawn, plain: Quantity, name: str) -> Quantity:
    if drawn.missing > REFUSED:
        reason = f"{name} has no result for {drawn.missing:.0%} of what the inputs may be"
        return Quantity(math.nan, plain.unit, quality=Quality.BAD, reason=reason)
    low, high = drawn.interval
    found = {
        f"{name} has no result for {drawn.missing:.0%} of what the inputs may be": drawn.missing > DOUBTFUL,
        f"the tails of {name} are too long for a standard uncertainty": not drawn.settled,
        f"{plain.value:.4g} is outside the interval {low:.4g} to {high:.4g} of the draws": not low
        <= plain.value
        <= high,
    }
    doubts = [plain.reason] * bool(plain.reason) + [words for words, doubtful in found.items() if doubtful]
    quality = max(plain.quality, Quality.SUSPECT) if any(found.values()) else plain.quality
    plain = replace(plain, interval=drawn.interval, quality=quality, reason="; ".join(doubts))
    rest = (Error(f"{name}: not straight at {plain.value:.9g} {plain.unit}"), drawn.remainder)
    return _with_budget(plain, (*drawn.budget, *((rest,) if drawn.remainder > 0 else ()))) if drawn.settled else plain


def _with_budget(quantity: Quantity, budget: tuple[tuple[Error, float], ...]) -> Quantity:
    shares, freedoms = [share for _, share in budget], [error.freedom for error, _ in budget]
    freedom = float(effective_freedom(shares, freedoms)) if budget else math.inf
    return replace(quantity, u=math.hypot(*shares), freedom=freedom, budget=budget)


def _inherited(quantity: Quantity, quantities: Mapping[str, Quantity]) -> Quantity:
    """The quantity with the worst quality of its inputs, and why."""
    doubtful = {name: given for name, given in quantities.items() if given.quality}
    quality = max((given.quality for given in doubtful.values()), default=Quality.GOOD)
    reasons = [f"{name}: {given.reason or 'is doubtful'}" for name, given in doubtful.items()]
    return replace(quantity, quality=quality, reason="; ".join(reasons))


def _no_result(name: str, inputs: Mapping[str, object]) -> str:
    values = {key: given.value if isinstance(given, Quantity) else given for key, given in inputs.items()}
    empty = [key for key, value in values.items() if isinstance(value, float) and math.isnan(value)]
    if empty:
        reasons = [given.reason for key in empty if isinstance(given := inputs[key], Quantity) and given.reason]
        return f"{name} has no value for {_list(empty)}" + (f": {'; '.join(reasons)}" if reasons else "")
    shown = ", ".join(f"{key} = {_shown(given)}" for key, given in inputs.items())
    return f"{name} has no result for {shown}"


def _shown(given: object) -> str:
    if isinstance(given, Quantity):
        return f"{given.value:.6g}" if given.unit in ("", "1") else f"{given.value:.6g} {given.unit}"
    return f"{given:.6g}" if isinstance(given, float) else str(given)


def _entries(errors: Sequence[Error], shares: NDArray[np.float64]) -> tuple[tuple[Error, float], ...]:
    return tuple((error, float(share)) for error, share in zip(errors, shares, strict=True) if share)


def _list(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
