"""Watt-hour classes for taking packs on an aircraft."""
