"""What a diagnosis is compared with: the usual order of a checklist, the nearest signature, gradient boosting."""

import csv
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingClassifier

from analysis.diagnosis.cases import UNTOLD, Cases, places
from analysis.diagnosis.causes import CAUSES, SHARES
from analysis.diagnosis.features import FEATURES, NUMBER
from analysis.diagnosis.seen import Seen
from tests.diagnosis.kept import Kept
from tests.diagnosis.scores import Results

Array = NDArray[np.float64]

SIGNATURES = Path(__file__).with_name("draft_signs.csv")
TAPS = ("draft_burner_box", "draft_transition", "draft_collector", "draft_vent")
CHECKED = {
    "fine": "none humidifier_overrun lockouts_misset heat_pump_weak airflow_low_restricted".split(),
    "none": "no_call control_power_lost lockouts_misset heat_pump_weak".split(),
    "no_start": "control_power_lost no_call inducer_weak control_board_faulty".split(),
    "draft_not_proved": "inducer_weak vent_blocked intake_blocked switch_hose_leak drain_blocked switch_faulty".split(),
    "draft_lost": "drain_blocked vent_blocked intake_blocked switch_hose_water inducer_weak switch_faulty".split(),
    "no_ignition": "igniter_faulty gas_supply_low gas_valve_faulty burner_fouled flame_sensor_weak".split(),
    "flame_lost": "flame_sensor_weak ground_polarity gas_supply_low manifold_low burner_fouled".split(),
    "limit_open": "airflow_low_restricted airflow_low_blower limit_faulty air_baffle_missing manifold_high".split(),
    "no_blower": "airflow_low_blower control_board_faulty".split(),
    "rollout_open": "rollout_open primary_restricted burner_fouled vent_blocked".split(),
    "gas_off_unexplained": "control_board_faulty control_power_lost gas_valve_faulty".split(),
    "switch_found_closed": "switch_stuck_closed".split(),
}
"""What is gone through, in this order, after each ending; common practice, no published source."""


def checklist(calls: Sequence[Kept]) -> Results:
    """The causes of the list for the complaint in its order, each half as likely as the one before; then the rest."""
    found = []
    for one in calls:
        order = CHECKED.get(one.seen.flags.get("worst", ""), [])
        rest = np.array([SHARES.get(cause, 0.1) for cause in CAUSES]) / sum(SHARES.values()) * 0.2
        for place, cause in enumerate(order):
            rest[CAUSES.index(cause)] += 0.5**place
        found.append(rest / rest.sum())
    return _results(calls, found)


def nearest_signature(calls: Sequence[Kept]) -> Results:
    """The signs at the taps that lie nearest to the change from the baseline; where there is none, nothing."""
    with SIGNATURES.open(encoding="utf-8") as file:
        rows = [(row["cause"], [float(row[tap]) for tap in TAPS]) for row in csv.DictReader(file)]
    found = []
    for one in calls:
        change = [_change(one.seen, tap) for tap in TAPS]
        shares = np.full(len(CAUSES), 1e-3)
        there = [n for n, value in enumerate(change) if math.isfinite(value)]
        if there:
            for cause, sign in rows:
                apart = sum((change[n] - sign[n]) ** 2 for n in there)
                shares[CAUSES.index(cause)] += math.exp(-0.5 * apart / 0.15**2)
        found.append(shares / shares.sum())
    return _results(calls, found)


def _change(seen: Seen, tap: str) -> float:
    now, good = seen.raw.get(f"{tap}.hot.high", math.nan), seen.raw.get(f"baseline.{tap}", math.nan)
    return math.log(now / good) if now * good > 0 else math.nan


class Boosted:
    """Gradient boosting over the same library, each case also with channels taken away as they may be missing."""

    def __init__(self, library: Cases, *, rounds: int, seed: int = 3) -> None:
        random = np.random.default_rng(seed)
        heads = np.array([feature.name.partition(".")[0] for feature in FEATURES])
        values = library.values.copy()
        for row in values:
            gone = [head for head in set(heads.tolist()) if random.random() < 0.4]
            row[np.isin(heads, gone)] = np.nan
        flags = np.where(library.flags == UNTOLD, np.nan, library.flags)
        inputs = np.concatenate([np.concatenate([library.values, flags], 1), np.concatenate([values, flags], 1)])
        self._model = HistGradientBoostingClassifier(
            max_iter=rounds, max_leaf_nodes=10, learning_rate=0.2, min_samples_leaf=8, random_state=seed
        ).fit(inputs, np.concatenate([library.cause, library.cause]))

    def results(self, calls: Sequence[Kept]) -> Results:
        """What it says of calls."""
        flags = np.array([places(one.seen.flags) for one in calls], np.float64)
        flags[flags == UNTOLD] = np.nan
        inputs = np.concatenate([np.array([one.seen.values for one in calls]), flags], 1)
        shares = np.full((len(calls), len(CAUSES)), 1e-6)
        shares[:, self._model.classes_] += self._model.predict_proba(inputs)
        return _results(calls, shares / shares.sum(axis=1, keepdims=True))


def without(calls: Sequence[Kept], heads: Sequence[str]) -> list[Kept]:
    """The calls without what these points say."""
    gone = np.array([feature.name.partition(".")[0] in heads for feature in FEATURES])
    return [_changed(one, np.where(gone, np.nan, one.seen.values)) for one in calls]


def shaken(calls: Sequence[Kept], *, level: float, noise: float, seed: int = 11) -> list[Kept]:
    """The calls as another model would have them: each number of a unit off by a share of its level, and noisy."""
    random = np.random.default_rng(seed)
    found = []
    for one in calls:
        off = level * random.standard_normal(len(FEATURES)) + noise * random.standard_normal(len(FEATURES))
        off[[NUMBER[name] for name in NUMBER if name.startswith(("plate.", "baseline.", "site."))]] = 0.0
        found.append(_changed(one, one.seen.values + off))
    return found


def _changed(one: Kept, values: Array) -> Kept:
    raw = {
        feature.name: feature.unscaled(float(value))
        for feature, value in zip(FEATURES, values, strict=True)
        if math.isfinite(value)
    }
    seen = Seen(values, one.seen.u, one.seen.spans, one.seen.flags, raw)
    return Kept(one.which, one.number, one.cause, one.severity, one.course, one.kind, seen)


def _results(calls: Sequence[Kept], shares: Sequence[Array] | Array) -> Results:
    return Results(np.array([CAUSES.index(one.cause) for one in calls], np.int64), np.array(shares))
