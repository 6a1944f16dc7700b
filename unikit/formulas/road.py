"""Forces of road and air, and the speed that a power gives."""
