"""Steady-state model of a direct-drive permanent-magnet motor and its limits."""
