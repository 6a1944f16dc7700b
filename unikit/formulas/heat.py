"""Temperature rise, thermal networks and convection."""
