"""What is wrong with the measurements of a recording: gaps, zeros, sides, clocks, units."""

from analysis.data.problem import KINDS, DataProblem
from analysis.data.problems import problems

__all__ = ["KINDS", "DataProblem", "problems"]
