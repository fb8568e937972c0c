"""What the trade computes of a recording, each figure on the right span, with what it is worth."""

from analysis.measures.all import measures as measures
from analysis.measures.measured import Measured as Measured
