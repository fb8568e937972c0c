"""What stands at the foot of every page."""

CAUTION = (
    "Gas, carbon monoxide and mains voltage can kill. Local codes, the maker's instructions and licensed practice "
    "come first; nothing on this page replaces them."
)
