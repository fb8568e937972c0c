"""Everything that produces readings: hardware, a replay, a number typed in by hand."""
