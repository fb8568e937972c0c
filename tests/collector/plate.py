"""The rating plate of an invented unit."""

from analysis.model import Plate

INCH = 249.08891
"""[Pa]"""
PLATE = Plate(
    rise=(35 / 1.8, 65 / 1.8),
    static_max=0.5 * INCH,
    supply_max=76.7,
    gas_inlet=(4.5 * INCH, 10.5 * INCH),
    switch_close=(0.95 * INCH, 0.50 * INCH),
    switch_open=(0.85 * INCH, 0.42 * INCH),
    flame_current_min=1e-6,
)
