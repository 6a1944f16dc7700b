"""Air density and transport properties."""
