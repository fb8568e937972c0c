"""Tests, one folder for each package; `system` holds those with real parts."""
