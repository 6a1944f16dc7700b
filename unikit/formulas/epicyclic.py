"""Planetary gear trains: ratio, assembly, clearance, reaction torque, search for tooth counts."""
