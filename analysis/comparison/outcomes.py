"""How attempts ended before and after: shares with exact intervals, and how many clean ones would prove something."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.stats import binomtest, fisher_exact

from analysis.sequence.attempts import Attempt

GAVE_HEAT = "heat"
SAYS_NOTHING = ("cut_off", "call_ended", "unknown", "no_start")
"""Outcomes that are neither heat nor a failure of an attempt: the recording or the call ended, or nobody can tell."""
SURE = 0.95
"""How sure. [1]"""
MOST = 200
"""Clean attempts in a row beyond which nobody goes. [1]"""


@dataclass(frozen=True, slots=True)
class Share:
    """Attempts that failed, of those of which it is known."""

    failed: int
    count: int
    low: float
    """95 % interval of the probability to fail (Clopper and Pearson); 0 to 1 without an attempt. [1]"""
    high: float
    how: tuple[tuple[str, int], ...] = ()
    """How often each outcome, the most frequent first, those that say nothing included."""


@dataclass(frozen=True, slots=True)
class Outcomes:
    """Attempts before and after."""

    before: Share
    after: Share
    probability: float
    """Of shares at least as far apart where nothing changed (Fisher's exact test); NaN without attempts. [1]"""
    verdict: str
    """`better`, `worse`, `no change` or `cannot tell`."""
    needed: int | None
    """Attempts in a row without a failure that would be met with less than 5 % if it still failed as often as before;
    None where none failed."""
    to_tell: int | None
    """Clean attempts after which Fisher's test tells the two visits apart; None where none failed, or beyond `MOST`."""
    needed_surely: int | None
    """As `needed` if it failed as rarely as the first recording allows (95 %, one-sided)."""
    why: str
    """One sentence without a full stop."""

    @property
    def comparable(self) -> bool:
        """Whether both recordings have an attempt that tells something."""
        return self.before.count > 0 and self.after.count > 0


def outcomes(before: Sequence[Attempt], after: Sequence[Attempt]) -> Outcomes:
    """Compare how attempts ended.

    before, after : attempts of each recording; those that `SAYS_NOTHING` lists do not count. [-]
    returns : Outcomes. [-]

    Valid: attempts that fail independently of one another; what comes and goes with water, ice or wind does not, and
        needs more of them, and longer runs.
    Method: Clopper-Pearson intervals; Fisher's exact test, two-sided; n clean attempts have the probability
        (1 - p)^n, so n = log 0.05 / log(1 - p).
    Source: Clopper and Pearson, Biometrika 26 (1934) 404; Fisher, Statistical Methods for Research
        Workers, 1934, 21.02.
    """
    first, second = share(before), share(after)
    if not (first.count and second.count):
        which = "before" if not first.count else "after"
        why = f"no attempt {which} of which it is known how it ended"
        return Outcomes(first, second, math.nan, "cannot tell", *_needed(first), why)
    table = [[first.failed, first.count - first.failed], [second.failed, second.count - second.failed]]
    probability = float(fisher_exact(table).pvalue)
    needed, to_tell, surely = _needed(first)
    verdict = "no change"
    if probability <= 1 - SURE:
        verdict = "better" if second.failed / second.count < first.failed / first.count else "worse"
    elif needed is not None or second.failed:
        verdict = "cannot tell"
    return Outcomes(first, second, probability, verdict, needed, to_tell, surely, _why(first, second, verdict, to_tell))


def share(attempts: Sequence[Attempt]) -> Share:
    """Failures among the attempts of a recording."""
    known = [one for one in attempts if one.outcome not in SAYS_NOTHING]
    failed = sum(one.outcome != GAVE_HEAT for one in known)
    kinds = [one.outcome for one in attempts]
    how = sorted({(kind, kinds.count(kind)) for kind in kinds}, key=lambda one: (-one[1], one[0]))
    if not known:
        return Share(0, 0, 0.0, 1.0, tuple(how))
    interval = binomtest(failed, len(known)).proportion_ci(SURE, method="exact")
    return Share(failed, len(known), float(interval.low), float(interval.high), tuple(how))


def clean_attempts(probability: float) -> int | None:
    """Clean attempts in a row that a unit which fails with this probability shows in less than 5 % of cases."""
    if probability <= 0:
        return None
    if probability >= 1:
        return 1
    return math.ceil(math.log(1 - SURE) / math.log1p(-probability) - 1e-9)


def _needed(before: Share) -> tuple[int | None, int | None, int | None]:
    if not before.failed:
        return None, None, None
    rarely = binomtest(before.failed, before.count, alternative="greater").proportion_ci(SURE, method="exact").low
    return clean_attempts(before.failed / before.count), _to_tell(before), clean_attempts(float(rarely))


def _to_tell(before: Share) -> int | None:
    """Fewest clean attempts that the test tells from those before.

    Of all ways to share out the failures, those count that are as rare as all of them before; in whole numbers.
    """

    def tells(count: int) -> bool:
        most = min(before.failed, count)
        ways = [math.comb(before.count, before.failed - other) * math.comb(count, other) for other in range(most + 1)]
        return sum(way for way in ways if way <= ways[0]) <= (1 - SURE) * math.comb(before.count + count, before.failed)

    return next((count for count in range(1, MOST + 1) if tells(count)), None)


def _why(before: Share, after: Share, verdict: str, to_tell: int | None) -> str:
    told = f"failed {before.failed} of {before.count} before and {after.failed} of {after.count} after"
    if verdict in ("better", "worse"):
        return f"{told}: more than chance"
    if not before.failed:
        return f"{told}: none failed before, so attempts cannot show a repair" if not after.failed else told
    if after.failed:
        return f"{told}: chance alone may do that"
    would = f"{to_tell} in a row would" if to_tell else f"not even {MOST} in a row would"
    return f"{told}: none failed in {after.count} proves little, {would}"
