"""The cautions that stand before everything, on paper, in a terminal and in a report."""

CAUTIONS = (
    "Gas, carbon monoxide, flue gas, mains voltage and moving parts can kill. Local codes, the maker's instructions"
    " and licensed practice come first; no reading here replaces them."
)
