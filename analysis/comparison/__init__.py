"""Did the repair work: two recordings of one unit, measure by measure, outcome by outcome, and a chain of evidence."""

from analysis.comparison.chain import chain
from analysis.comparison.compare import Compared, Comparison, compare
from analysis.comparison.link import Item
from analysis.comparison.outcomes import Outcomes, outcomes
from analysis.comparison.side import Side, Tried

__all__ = ["Compared", "Comparison", "Item", "Outcomes", "Side", "Tried", "chain", "compare", "outcomes"]
