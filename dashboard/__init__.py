"""The page: asks the recording for a range and analysis for a number, and changes nothing but through commands."""
