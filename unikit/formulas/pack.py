"""Open-circuit voltage, sag and energy of battery packs."""
